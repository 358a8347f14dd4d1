package commission

import (
	"fmt"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/devices/registers"
)

// Clearance is a complete record that fits the present bench file. It can be had
// from Record.Against only; its zero value clears nothing.
type Clearance struct {
	saved time.Time
	said  []string
}

// Holds reports whether the bench's heaters count as proven.
func (c Clearance) Holds() bool { return len(c.said) > 0 }

// Saved is when the record was completed, in wall time.
func (c Clearance) Saved() time.Time { return c.saved }

// Words says what was proven, one line each.
func (c Clearance) Words() []string { return c.said }

// Against holds a record, which may be nil, against a bench file. Where something is
// missing or no longer valid it clears nothing, and says what, one line each.
func (r *Record) Against(b *config.Bench) (Clearance, []string) {
	if r == nil {
		return Clearance{}, []string{"nothing is on record of this bench"}
	}
	if r.Digest != Digest(b) {
		return Clearance{}, []string{"the bench file has changed since: lines, devices, channels, pots or heater powers are not those that were commissioned"}
	}
	missing := slices.Concat(unfit(b), r.openQuestions(), r.unseen(b), r.unproven(b))
	if len(missing) > 0 {
		return Clearance{}, missing
	}
	c := Clearance{saved: r.Saved, said: []string{"answered in its owner's words: " + questionList()}}
	for _, device := range outputDevices(b.Channels) {
		p := r.proof(device)
		c.said = append(c.said, fmt.Sprintf("%s lets go of heat by itself within %.2f s of silence, tried %s", device, p.LetGoS, day(p.At)))
	}
	for _, k := range r.Interlocks {
		c.said = append(c.said, fmt.Sprintf("%s was seen open and closed again, tried %s", k.Role, day(k.At)))
	}
	for _, p := range b.Pots {
		c.said = append(c.said, fmt.Sprintf("heater %s warms plate %s and no other, tried %s", p.Name, p.Name, day(r.nudge(p.Name).At)))
	}
	return c, nil
}

// unseen returns in words which interlocks nobody has opened.
func (r *Record) unseen(b *config.Bench) []string {
	var missing []string
	for _, k := range interlocks {
		if wired(b, k.role) && r.interlock(k.role) == nil {
			missing = append(missing, fmt.Sprintf("%s: not tried whether its contact shows it open", k.role))
		}
	}
	return missing
}

// unproven returns in words which devices and pots have not passed.
func (r *Record) unproven(b *config.Bench) []string {
	var missing []string
	for _, device := range outputDevices(b.Channels) {
		switch p := r.proof(device); {
		case p == nil:
			missing = append(missing, fmt.Sprintf("device %s: not tried whether it lets go by itself", device))
		case !p.passed():
			missing = append(missing, fmt.Sprintf("device %s: %s", device, p.Trouble))
		}
	}
	for _, p := range b.Pots {
		switch n := r.nudge(p.Name); {
		case n == nil:
			missing = append(missing, fmt.Sprintf("heater %s: not tried which plate it warms", p.Name))
		case n.Result != Right:
			missing = append(missing, n.advice())
		case !n.passed():
			missing = append(missing, fmt.Sprintf("heater %s: not tried whether it is behind the contactor", p.Name))
		}
	}
	return missing
}

func questionList() string {
	list := ""
	for i, q := range questions {
		if i > 0 {
			list += ", "
		}
		list += q.key
	}
	return list
}

func day(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }

// givesHeat reports whether heat depends on what is written to a channel.
func givesHeat(c registers.Channel) bool {
	return c.Role == registers.Heater || c.Role == registers.Contactor
}

// outputDevices returns the devices that heaters or the contactor are written to,
// in the order of the channels.
func outputDevices(channels []registers.Channel) []string {
	var names []string
	seen := map[string]bool{}
	for _, c := range channels {
		if givesHeat(c) && !seen[c.Device] {
			seen[c.Device] = true
			names = append(names, c.Device)
		}
	}
	return names
}
