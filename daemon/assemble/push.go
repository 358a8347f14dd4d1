package assemble

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"meltwarden/control/reading"
	"meltwarden/daemon/recognise"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/press"
	"meltwarden/devices/readout"
	"meltwarden/devices/registers"
)

// showContact has contacts pressed, or shows how one reads where a maker says that it is.
func (s *session) showContact(ctx context.Context, q Question, answer string) (wrong, err error) {
	if answer == push {
		return s.pressContacts(ctx, q)
	}
	i := slices.IndexFunc(s.contactList(), func(c contact) bool { return c.key == q.Key })
	c := s.contactList()[i]
	return s.shown(ctx, q.Key, channel{role: c.role, pot: c.pot, layout: answer}, c.name(), contactWords)
}

// contactWords are how a contact reads, in words.
func contactWords(c registers.Channel, data []byte) string {
	var is reading.Contact
	if c.Function == modbus.ReadCoils || c.Function == modbus.ReadInputs {
		is = c.Contact(modbus.Bits(data, 1))
	} else {
		is = c.ContactOf(modbus.Registers(data))
	}
	return map[bool]string{true: "closed", false: "open"}[is.Closed]
}

// pressContacts leads through all contacts of a device that are not found yet.
func (s *session) pressContacts(ctx context.Context, q Question) (wrong, err error) {
	u := s.unitOf(q.Key)
	var missing []contact
	var names []string
	for _, c := range s.contactList() {
		if s.deviceOf(c.key) == u.name && !strings.HasPrefix(s.Answers[c.key], "function:") {
			missing, names = append(missing, c), append(names, c.name())
		}
	}
	s.say("\nThe emergency stop has to be released for this, so that a contactor may close: SWITCH THE HEATERS' SUPPLY OFF at its plug or main switch. Each contact is pressed three times, for two seconds. %d to find on %s, half a minute each.", len(missing), u.name)
	if _, err := s.choose(ctx, "Is the heaters' supply off?", "", []Choice{{"yes", "it is off, at its plug or main switch"}}); err != nil {
		return nil, err
	}
	from, err := s.from(ctx)
	if err != nil {
		return nil, err
	}
	spans, err := readout.Spans([]uint8{modbus.ReadInputs, modbus.ReadCoils, modbus.ReadInput, modbus.ReadHolding}, from, registersAtOnce)
	if err != nil {
		return err, nil
	}
	s.say(readsFirst)
	var r press.Result
	err = s.onDevice(ctx, u, func(client *modbus.Client, d *modbus.Device) error {
		r, err = recognise.FindContacts(ctx, recognise.Options{
			Reader: readout.New(client, d, spans, s.Clock), Clock: s.Clock, Contacts: names, From: from, Device: u.name,
			Out: s.Out, Words: s.Out, Screen: s.Screen, Size: s.Size,
		})
		return err
	})
	s.say("\nPRESS THE EMERGENCY STOP again. Leave the heaters' supply off until you are told to switch it on.")
	switch {
	case ctx.Err() != nil:
		return nil, ErrStopped
	case err != nil:
		return fmt.Errorf("%s: %w", u.name, err), nil
	}
	return s.settleContacts(ctx, q, missing, r)
}

// settleContacts takes what was told and can be used as it is wired, once the maker has seen
// it.
func (s *session) settleContacts(ctx context.Context, q Question, missing []contact, r press.Result) (wrong, err error) {
	if !slices.ContainsFunc(r.Contacts, func(c press.Contact) bool { return c.Told && c.Misfit == "" }) {
		return errors.New("no contact was found that can be used as it is wired; press them once more, or type where they are read"), nil
	}
	sure, err := s.choose(ctx, "Are these the right contacts?", "What was not told is asked again.", []Choice{
		{"yes", "take what was told"}, {"no", "take none of it, and ask again"}})
	switch {
	case err != nil:
		return nil, err
	case sure == "no":
		return errors.New("nothing was taken; press them once more, or type where they are read"), nil
	}
	for i, c := range r.Contacts {
		if c.Told && c.Misfit == "" {
			s.Answers[missing[i].key] = guess.Written(c.Channel(""))
		}
	}
	if !strings.HasPrefix(s.Answers[q.Key], "function:") {
		return fmt.Errorf("%s was not found", strings.TrimPrefix(q.Key, "contact-")), nil
	}
	return nil, nil
}
