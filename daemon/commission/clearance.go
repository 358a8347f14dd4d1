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
	saved, until time.Time
	said         []string
}

// Holds reports whether the bench's heaters count as proven.
func (c Clearance) Holds() bool { return len(c.said) > 0 }

// Saved is when the record was completed, in wall time.
func (c Clearance) Saved() time.Time { return c.saved }

// Until is when the oldest step of the record lapses, in wall time.
func (c Clearance) Until() time.Time { return c.until }

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
	missing := slices.Concat(unfit(b), r.openQuestions(b), r.unseen(b), r.unread(b), r.undipped(b), r.unproven(b), r.unnudged(b))
	if len(missing) > 0 {
		return Clearance{}, missing
	}
	return Clearance{saved: r.Saved, until: r.lapses(), said: r.words(b)}, nil
}

// words says what a complete record has proven.
func (r *Record) words(b *config.Bench) []string {
	said := []string{"answered in its owner's words: " + questionList()}
	for _, device := range outputDevices(b.Channels) {
		p := r.proof(device)
		said = append(said, fmt.Sprintf("%s reports its outputs off after %.2f s of silence (by its own registers; a relay that sticks is not seen by this), also once its supply was off, tried %s", device, p.LetGoS, day(p.At)))
	}
	for _, i := range r.Interlocks {
		said = append(said, fmt.Sprintf("%s was seen open and closed again, tried %s", i.Role, day(i.At)))
	}
	for _, p := range b.Pots {
		if p.Probes.HasMelt() {
			said = append(said, r.dip(p.Name).words())
		}
	}
	for _, p := range b.Pots {
		by := ""
		if !p.Probes.HasPlate() {
			by = " by its melt probe, laid on it"
		}
		switch {
		case unheard(b, p):
			by += fmt.Sprintf(" (its controller keeps its set-point through silence; %s)", r.display(p.Name).words())
		case p.Controller.Is():
			by += " (its controller keeps its set-point through silence; scale and unit of that were not tried)"
		}
		said = append(said, fmt.Sprintf("heater %s is behind the contactor, and warms plate %s and no other%s, tried %s", p.Name, p.Name, by, day(r.nudge(p.Name).At)))
	}
	return append(said, fmt.Sprintf("lapses on %s: everything is to be tested at least yearly (common practice)", day(r.lapses())))
}

// unseen returns in words which interlocks nobody has opened.
func (r *Record) unseen(b *config.Bench) []string {
	var missing []string
	for _, k := range interlocks {
		i := r.interlock(k.role)
		switch {
		case !wired(b, k.role):
		case i == nil:
			missing = append(missing, fmt.Sprintf("%s: not tried whether its contact shows it open", k.role))
		case !i.done():
			missing = append(missing, fmt.Sprintf("%s: tried %s, %s", k.role, day(i.At), tooLongAgo))
		}
	}
	return missing
}

// undipped returns in words which melt probes are not right.
func (r *Record) undipped(b *config.Bench) []string {
	var missing []string
	for _, p := range b.Pots {
		switch d := r.dip(p.Name); {
		case !p.Probes.HasMelt():
		case d == nil:
			missing = append(missing, fmt.Sprintf("melt probe %s: not tried in hot water which channel it is on", p.Name))
		case !d.passed():
			missing = append(missing, d.advice())
		case !d.done():
			missing = append(missing, fmt.Sprintf("melt probe %s: tried %s, %s", p.Name, day(d.At), tooLongAgo))
		}
	}
	return missing
}

// unproven returns in words which devices have not passed.
func (r *Record) unproven(b *config.Bench) []string {
	var missing []string
	for _, device := range outputDevices(b.Channels) {
		why := ""
		switch p := r.proof(device); {
		case p == nil:
			why = "not tried whether it reports its outputs off after silence"
		case p.Trouble != "":
			why = p.Trouble
		case !p.tried():
			why = "not proven"
		case !p.passed():
			why = "not tried again once its supply was off"
		case !p.done():
			why = fmt.Sprintf("tried %s, %s", day(p.At), tooLongAgo)
		default:
			continue
		}
		missing = append(missing, fmt.Sprintf("device %s: %s", device, why))
	}
	return missing
}

// unnudged returns in words which heaters are not right.
func (r *Record) unnudged(b *config.Bench) []string {
	var missing []string
	for _, p := range b.Pots {
		switch n := r.nudge(p.Name); {
		case n == nil:
			missing = append(missing, fmt.Sprintf("heater %s: not tried which plate it warms", p.Name))
		case n.Result != Right:
			missing = append(missing, n.advice())
		case !n.passed():
			missing = append(missing, fmt.Sprintf("heater %s: not tried for long enough whether it is behind the contactor", p.Name))
		case !n.done():
			missing = append(missing, fmt.Sprintf("heater %s: tried %s, %s", p.Name, day(n.At), tooLongAgo))
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
