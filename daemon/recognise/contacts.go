package recognise

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"meltwarden/daemon/console"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/view"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/press"
	"meltwarden/devices/registers"
)

// fast is how often bits are read: a press of half a second is seen twice.
const fast = 250 * time.Millisecond

// pressing is a session under way in which contacts are pressed.
type pressing struct {
	Options
	*press.Session
	screen *console.Screen
	last   map[guess.Register]uint16
	said   string            // the step that was told last
	told   map[press.Bit]int // presses that were told in it
	moved  bool              // anything, in it
}

// RunContacts leads a session in which the contacts of the options are pressed one after
// another, until its end or that of the context, which is no error, and prints what came of
// it.
func RunContacts(ctx context.Context, o Options) error {
	p, err := leadContacts(ctx, o)
	if err != nil {
		return err
	}
	return p.end()
}

// FindContacts leads a session likewise, and returns what came of it; nothing is printed of
// that but how each contact was told.
func FindContacts(ctx context.Context, o Options) (press.Result, error) {
	p, err := leadContacts(ctx, o)
	if err != nil {
		return press.Result{}, err
	}
	p.clear()
	r, out := p.Result(), lines.To(p.Out)
	for _, c := range r.Contacts {
		tellContact(out, c)
	}
	p.note(out, r.Numbering(p.From), contactNotes(r))
	return r, out.Err()
}

func leadContacts(ctx context.Context, o Options) (*pressing, error) {
	p := &pressing{
		Options: o, Session: press.NewSession(o.Contacts), screen: console.NewScreen(o.Out, false), last: map[guess.Register]uint16{},
	}
	over := func() bool { step, _, _, _ := p.Step(); return step == press.Over }
	return p, o.rounds(ctx, fast, over, func(at time.Duration, read map[guess.Register]uint16) error {
		maps.Copy(p.last, read)
		p.Take(at, read)
		return p.show()
	})
}

// acts are what a hand does to a contact, and back.
var acts = map[registers.Role]string{
	registers.EStop:  "Press the emergency stop, release it",
	registers.CutOut: "Open the cut-out (its test button, or its setting turned down until it opens), turn it back and reset it by hand",
	registers.Fan:    "Switch the fan off until its contact opens, and on again",
	registers.Enable: "Press the enable button, let go",
	registers.Pedal:  "Press the pedal, let go",
	registers.Lid:    "Lift the lid, put it on again",
}

// act says what a hand does to a contact.
func act(contact string) string {
	role, pot, _ := strings.Cut(contact, " ")
	does, is := acts[registers.Role(role)]
	switch {
	case is && pot != "":
		return does + " (" + pot + ")"
	case is:
		return does
	}
	if pot != "" {
		return fmt.Sprintf("Press the %s of %s, let go", role, pot)
	}
	return fmt.Sprintf("Press the %s, let go", role)
}

// wanted is what the maker is to do now.
func (p *pressing) wanted() string {
	step, at, contact, again := p.Step()
	switch {
	case step == press.Rest && at == 0:
		return "The heaters' supply is off? Then leave all alone for some twelve seconds: emergency stop released, cut-out closed, fan on, every lid on its pot, nothing pressed. What changes by itself shows now."
	case step == press.Rest:
		return "Leave all alone once more, for some ten seconds."
	case step == press.Over:
		return "That was all."
	}
	text := fmt.Sprintf("%d of %d: %s: three times, each for two seconds at least, with two between.", at+1, len(p.Contacts), act(contact))
	if again {
		return "Once more. " + text
	}
	return text
}

// show draws all on a screen, or says in plain lines what is new.
func (p *pressing) show() error {
	moves := p.Moves()
	if p.Screen {
		return p.screen.Draw(p.Size(), p.block(moves))
	}
	out := lines.To(p.Words)
	if want := p.wanted(); want != p.said {
		if step, at, _, _ := p.Step(); at > 0 && !p.moved && step != press.Over {
			out.Line("  Nothing moved for a minute.")
		}
		p.said, p.told, p.moved = want, map[press.Bit]int{}, false
		out.Line("%s", lines.Wrap("", want))
	}
	p.moved = p.moved || len(moves) > 0
	for _, m := range moves {
		if m.Times > p.told[m.Bit] {
			p.told[m.Bit] = m.Times
			out.Line("  %s", far(m))
		}
	}
	return out.Err()
}

// far says how far the presses of a bit are.
func far(m press.Move) string {
	return fmt.Sprintf("%s moved, %d of %d", m.Bit.Short(), m.Times, press.Presses)
}

// block is the screen: what to do, what has moved, then every bit; registers are left out
// where there is no room for all.
func (p *pressing) block(moves []press.Move) []console.Line {
	var head []console.Line
	for line := range strings.SplitSeq(lines.Wrap("", p.wanted()), "\n") {
		head = append(head, console.Line{Text: line, Tone: view.Attend})
	}
	for _, m := range moves {
		head = append(head, console.Line{Text: "  " + far(m), Tone: view.Attend})
	}
	head = append(head, console.Line{})
	all := append(p.bits(modbus.ReadInputs), p.bits(modbus.ReadCoils)...)
	if words := p.words(); len(head)+len(all)+len(words) <= p.Size().Height {
		all = append(all, words...)
	}
	return append(head, all...)
}

// places are where something was read by a function, in order.
func (p *pressing) places(function uint8) (all []uint16) {
	for at := range p.last {
		if at.Function == function {
			all = append(all, at.Address)
		}
	}
	slices.Sort(all)
	return all
}

// bits are those of a function's table, eight to a line.
func (p *pressing) bits(function uint8) (found []console.Line) {
	for i, address := range p.places(function) {
		if i == 0 {
			found = append(found, console.Line{Text: fmt.Sprintf("%ss (function %d), from the address on the wire on", guess.Table(function), function)})
		}
		if i%8 == 0 {
			found = append(found, console.Line{Text: fmt.Sprintf("%6d ", address)})
		}
		found[len(found)-1].Text += fmt.Sprintf(" %d", p.last[guess.Register{Function: function, Address: address}])
	}
	return found
}

// words are the registers, each with its bits, the highest first.
func (p *pressing) words() (found []console.Line) {
	for _, function := range []uint8{modbus.ReadInput, modbus.ReadHolding} {
		for i, address := range p.places(function) {
			if i == 0 {
				found = append(found, console.Line{Text: fmt.Sprintf("%ss (function %d), bit 15 to bit 0", guess.Table(function), function)})
			}
			v := p.last[guess.Register{Function: function, Address: address}]
			found = append(found, console.Line{Text: fmt.Sprintf("%6d  %04b %04b %04b %04b  0x%04X", address, v>>12, v>>8&15, v>>4&15, v&15, v)})
		}
	}
	return found
}

// end prints what came of it.
func (p *pressing) end() error {
	p.clear()
	r := p.Result()
	if p.AsJSON {
		return json.NewEncoder(p.Out).Encode(map[string]any{
			"result": r, "numbering": r.Numbering(p.From), "refused": p.refusals(), "channels": append([]string{}, r.Lines(p.Device)...),
		})
	}
	out := lines.To(p.Out)
	doubt := ""
	for _, c := range r.Contacts {
		tellContact(out, c)
		if c.Told && len(c.Rivals) > 0 {
			doubt = "# see what moved together, above"
		}
	}
	p.note(out, r.Numbering(p.From), contactNotes(r))
	p.fileLines(out, r.Lines(p.Device), doubt)
	return out.Err()
}

// tellContact says what was recognised of one.
func tellContact(out *lines.Writer, c press.Contact) {
	mark := "  " + c.Name + ": "
	switch {
	case !c.Told:
		out.Line("%s", lines.Hang(mark, "    ", "NOT TOLD: "+c.Why))
	case c.Misfit != "":
		out.Line("%s", lines.Hang(mark, "    ", fmt.Sprintf("%s. NOT AS IT HAS TO BE WIRED: %s.", c.Bit, c.Misfit)))
	default:
		out.Line("%s", lines.Hang(mark, "    ", fmt.Sprintf("%s; %s", c.Bit, c.Reads())))
	}
	for _, rival := range c.Rivals {
		out.Line("%s", lines.Hang("    Beside it: ", "      ", fmt.Sprintf("%s %s", rival.Bit.Short(), rival.Differs)))
	}
	for _, note := range c.Notes {
		out.Line("%s", lines.Hang("    ", "      ", note))
	}
}

// contactNotes are what a maker has to know of all of them.
func contactNotes(r press.Result) (notes []string) {
	if len(r.Unsteady) > 0 {
		notes = append(notes, "What changed while all was left alone was taken for no contact: "+unsteady(r.Unsteady)+".")
	}
	return append(notes, "This tells which input a contact is, not that it stops anything: trying the bench out (commission) has every interlock opened, and looks.")
}

// unsteady names bits, of a register with several only the register.
func unsteady(all []press.Bit) string {
	var names []string
	for i, b := range all {
		at := guess.Register{Function: b.Function, Address: b.Address}
		same := func(o press.Bit) bool { return o.Function == b.Function && o.Address == b.Address }
		switch first := slices.IndexFunc(all, same); {
		case first < i:
		case i+1 < len(all) && same(all[i+1]):
			names = append(names, fmt.Sprintf("%s %d (a number)", guess.Table(at.Function), at.Address))
		default:
			names = append(names, b.Short())
		}
	}
	return strings.Join(names, ", ")
}
