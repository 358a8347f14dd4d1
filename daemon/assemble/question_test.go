package assemble

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// answered are the answers of a bench on one device, all of them right.
func answered() Answers {
	return Answers{
		"name": "bench", "unit": "C", "voltage": "120 V", "breaker": "20 A", "pots": "left, right",
		"pot-1-power": "800 W", "pot-1-probes": "both", "pot-2-power": "800 W", "pot-2-probes": "melt",
		"cut-out": "a limiter on each plate", "fuse": "a breaker in the box", "e-stop": "mushroom at the edge", "earth": "braid to every plate",
		"line-1-port": "COM5", "line-1-how": "type", "line-1-speed": "9600 none 2", "line-1-units": "7", "line-1-unit-7-name": "board", "line-1-more": "no",
		"pot-1-melt": "function: 4, address: 0, type: int16, scale: 0.1, unit: C", "pot-1-plate": "function: 4, address: 1, type: int16, scale: 0.1, unit: C",
		"pot-2-melt":     "function: 4, address: 2, type: int16, scale: 0.1, unit: C",
		"contact-e-stop": "function: 2, address: 0, type: bit", "contact-cut-out": "function: 2, address: 1, type: bit", "contact-enable": "function: 2, address: 4, type: bit",
		"line-1-unit-7-open": "none", "contacts-have": "none",
		"heaters-by": "coil", "heaters-function": "15", "heaters-relay": "mechanical", "heaters-life": "30000", "pot-1-heater": "0", "pot-2-heater": "1", "contactor-function": "5", "contactor": "2",
		"recipe": "begin", "pot-1-volume": "250 mL", "pot-2-volume": "8.5 fl oz (US)", "write": "yes",
	}
}

// TestOneBoardIsNotAskedFor where there is no other, and its file is good.
func TestOneBoardIsNotAskedFor(t *testing.T) {
	a := answered()
	s := a.script(Around{File: "bench.yaml"})
	require.True(t, s.known(), "%v", s.why)
	for _, q := range s.asked {
		assert.NotContains(t, q.Key, "-on")
	}
	b, err := a.facts("bench.yaml").parse("bench.yaml")
	require.NoError(t, err)
	assert.Equal(t, 2, b.Lines[0].StopBits)
	assert.Equal(t, "20s", b.Pots[0].Window.String())
	assert.False(t, b.Pots[1].Probes.HasPlate())
}

// TestWrongAnswersAreSaid, each with what to write in its place.
func TestWrongAnswersAreSaid(t *testing.T) {
	asked := answered().script(Around{File: "bench.yaml"}).asked
	for _, c := range []struct{ key, typed, wrong string }{
		{"name", "", "nothing was typed"},
		{"name", "a\tb", "has a line break or a control character"},
		{"unit", "K", `"K": is none of the answers; write one of C, F`},
		{"voltage", "12000 V", "hard to believe; check number and unit: 12 V to 250 V"},
		{"breaker", "20", "write"},
		{"pots", "left, left", `"left": given twice`},
		{"pots", "left,, right", "a name is missing between two commas"},
		{"pots", "1, 2, 3, 4, 5, 6, 7, 8, 9", "9 pots"},
		{"pot-1-power", "3000 W", "more than the whole circuit of 2400 W"},
		{"cut-out", "yes", "that says too little"},
		{"fuse", "no", "fit it, or have it done, first"},
		{"line-1-speed", "9601 even", "write a speed of"},
		{"line-1-speed", "9600 odds", "write a speed of"},
		{"line-1-units", "0", "write numbers from 1 to 247"},
		{"line-1-units", "1, 1", "1 is given twice"},
		{"line-1-unit-7-name", "each", "means something else"},
		{"pot-1-melt", "4 0", "write function, address, type, scale and unit"},
		{"pot-1-melt", "9 0 int16 0.1 C", "does not go with role melt and type int16"},
		{"pot-1-melt", "4 70000 int16 0.1 C", "out of range: write 0 to 65535"},
		{"pot-1-plate", "2", "that is where melt right is read"},
		{"contact-e-stop", "1 0 0 0", "write function and address"},
		{"line-1-unit-7-open", "0x1FFFF", "never reads so"},
		{"contacts-have", "fan, hooter", `"hooter": not known`},
		{"contacts-have", "stir-button", "belongs to a pot"},
		{"contacts-have", "stir-button middle", `no pot is called "middle"`},
		{"contacts-have", "e-stop", "is there already"},
		{"contact-e-stop", "3 0", "write which of them is the contact"},
		{"contact-enable", "2 0", "that is where e-stop is read"},
		{"heaters-by", "numbr", `did you mean "number"?`},
		{"pot-1-heater", "1", "that is the address of another output"},
		{"pot-1-heater", "40001", "\"40001\" is how sheets write 0, counting from 1"},
		{"pot-1-heater", "400008", "is how sheets write 7"},
		{"contactor", "10001", "is how sheets write 0"},
		{"contactor", "00033", "is how sheets write 32, counting from 1 with the table in front: write 32 for that; where it is the address on the wire itself, write 33"},
		{"pot-1-heater", "000033", "is how sheets write 32"},
		{"pot-1-heater", "00000", "write a whole number from 0 to 65535"},
		{"pot-1-heater", "033", "write a whole number from 0 to 65535"},
		{"pot-1-melt", "3 30101 int16 0.1 C", "is how sheets write 100"},
		{"contact-enable", "1 00033", "is how sheets write 32"},
		{"contact-enable", "10033", "is how sheets write 32"},
		{"pot-1-melt", "4 30007 int16 0.1 C", "is how sheets write 6"},
		{"pot-1-plate", "30003", "is how sheets write 2"},
		{"contact-enable", "2 10005", "is how sheets write 4"},
		{"heaters-life", "many", "not a whole number"},
		{"contactor", "0", "that is the address of another output"},
		{"contactor", "-1", "write a whole number from 0 to 65535"},
		{"pot-1-volume", "9 L", "hard to believe"},
		{"pot-1-volume", "full", "write"},
		{"recipe", "none.yaml", "no such file"},
	} {
		for _, q := range asked {
			if q.Key == c.key {
				_, err := q.accept(c.typed)
				assert.ErrorContains(t, err, c.wrong, "%s: %q", c.key, c.typed)
			}
		}
	}
	_, _, err := address("40001") // the first one to look at
	assert.ErrorContains(t, err, "is how sheets write 0")
	_, err = full("10")
	assert.ErrorContains(t, err, "with a smaller one a pot swings")
}

// TestWhatIsTypedShort is kept as a bench file has it.
func TestWhatIsTypedShort(t *testing.T) {
	for _, c := range []struct{ key, typed, kept string }{
		{"pot-1-melt", "3 40 float32 1 F low-first", "function: 3, address: 40, type: float32, scale: 1, unit: F, words: low-first"},
		{"pot-1-plate", "9", "function: 4, address: 9, type: int16, scale: 0.1, unit: C"},
		{"contact-enable", "9", "function: 2, address: 9, type: bit"},
		{"contact-enable", "1 9", "function: 1, address: 9, type: bit"},
		{"contact-enable", "4 9 0x0004", "function: 4, address: 9, type: bit, mask: 0x0004"},
		{"contacts-have", "fan,  stir-button left", "fan, stir-button left"},
		{"line-1-speed", "19200 even", "19200 even 1"},
		{"line-1-units", " 1,3", "1, 3"},
		{"unit", "2", "F"},
		{"pot-1-heater", "40001 wire", "40001 wire"},
		{"pot-1-heater", "33", "33"},
		{"pot-1-melt", "function: 4, address: 30007, type: int16, scale: 0.1, unit: C", "function: 4, address: 30007, type: int16, scale: 0.1, unit: C"},
	} {
		for _, q := range answered().script(Around{File: "bench.yaml"}).asked {
			if q.Key == c.key {
				kept, err := q.accept(c.typed)
				require.NoError(t, err)
				assert.Equal(t, c.kept, kept)
				again, err := q.accept(kept)
				require.NoError(t, err)
				assert.Equal(t, kept, again, "what is kept is taken again")
			}
		}
	}
}

// TestAnAddressThatIsMeantIsWritten though it looks like a sheet's number.
func TestAnAddressThatIsMeantIsWritten(t *testing.T) {
	a := answered()
	a["pot-1-heater"], a["contactor"] = "40001 wire", "10001 wire"
	s := a.script(Around{File: "bench.yaml"})
	require.True(t, s.known(), "%v", s.why)
	b, err := a.facts("bench.yaml").parse("bench.yaml")
	require.NoError(t, err)
	for _, c := range b.Channels {
		if c.Role == "heater" && c.Pot == "left" {
			assert.EqualValues(t, 40001, c.Address)
		}
		if c.Role == "contactor" {
			assert.EqualValues(t, 10001, c.Address)
		}
	}
}

// TestNoPotfulIsTakenForGranted: a pot may hold 45 mL, and plans rest on what is in it.
func TestNoPotfulIsTakenForGranted(t *testing.T) {
	a := answered()
	delete(a, "pot-1-volume")
	s := a.script(Around{File: "bench.yaml"})
	q := s.asked[s.open]
	require.Equal(t, "pot-1-volume", q.Key)
	_, err := q.accept("")
	require.ErrorContains(t, err, "an answer is needed here")
}

// TestTheContactorsDeviceIsMostlyTheHeaters: Enter takes that one.
func TestTheContactorsDeviceIsMostlyTheHeaters(t *testing.T) {
	a := answered()
	a["line-1-units"], a["line-1-unit-8-name"] = "7, 8", "relays"
	a["probes-on"], a["contacts-on"], a["heaters-on"] = "board", "board", "relays"
	s := a.script(Around{File: "bench.yaml"})
	q := s.asked[s.open]
	require.Equal(t, "contactor-on", q.Key, "%v", s.why)
	assert.Equal(t, "relays", q.Usual)
	assert.Equal(t, "relays", q.Among[0].Value)
	assert.Len(t, q.Among, 2)
}

// TestWhatIsToBeFoundOutIsOpen though somebody has written into the draft how.
func TestWhatIsToBeFoundOutIsOpen(t *testing.T) {
	for key, how := range map[string]string{"pot-1-melt": "hold", "contact-e-stop": "press", "line-1-unit-7-open": "see"} {
		a := answered()
		a[key] = how
		s := a.script(Around{File: "bench.yaml"})
		require.False(t, s.known())
		assert.Equal(t, key, s.asked[s.open].Key)
	}
}

// TestTwoLinesAndEachOnItsOwn: what is not all on one device is asked of each, and the file
// has it so.
func TestTwoLinesAndEachOnItsOwn(t *testing.T) {
	a := answered()
	for key, answer := range map[string]string{
		"line-1-more": "yes", "line-1-units": "7, 8", "line-1-unit-8-name": "relays",
		"line-2-port": "COM6", "line-2-how": "type", "line-2-speed": "19200 even 1", "line-2-units": "7", "line-2-unit-7-name": "inputs", "line-2-more": "no",
		"probes-on": "each", "pot-1-melt-on": "board", "pot-1-plate-on": "inputs", "pot-2-melt-on": "board", "line-2-unit-7-open": "0x7FFF",
		"contacts-on": "inputs", "heaters-on": "each", "pot-1-heater-on": "relays", "pot-2-heater-on": "board", "contactor-on": "relays",
	} {
		a[key] = answer
	}
	s := a.script(Around{File: "bench.yaml"})
	require.True(t, s.known(), "%v", s.why)
	b, err := a.facts("bench.yaml").parse("bench.yaml")
	require.NoError(t, err)
	on := map[string]string{}
	for _, c := range b.Channels {
		on[strings.TrimSpace(string(c.Role)+" "+c.Pot)] = c.Device
	}
	assert.Equal(t, map[string]string{"melt left": "board", "plate left": "inputs", "melt right": "board", "heater left": "relays", "heater right": "board",
		"contactor": "relays", "e-stop": "inputs", "cut-out": "inputs", "enable": "inputs"}, on)
	assert.Equal(t, []float64{0x7FFF}, b.Channels[1].Sentinels)
	assert.Empty(t, b.Channels[0].Sentinels)
	assert.Equal(t, "b", b.Devices[2].Line)

	a["line-1-unit-8-name"] = "switches" // what was on it is asked again
	s = a.script(Around{File: "bench.yaml"})
	require.False(t, s.known())
	assert.Equal(t, "pot-1-heater-on", s.asked[s.open].Key)
	assert.ErrorContains(t, s.why, `"relays": is none of the answers`)
}

// TestNoAddressIsKeptForSomethingElse: once pots have another order, or heaters another device
// or way, what was found or typed before would be written for the wrong one.
func TestNoAddressIsKeptForSomethingElse(t *testing.T) {
	for _, c := range []struct {
		key, was, is string
		asked        []string
	}{
		{"pots", "left, right", "right, left", []string{"pot-1-melt", "pot-1-plate", "pot-2-melt", "pot-1-heater", "pot-2-heater", "pot-1-heater-on"}},
		{"heaters-on", "each", "board", []string{"pot-1-heater", "pot-2-heater", "pot-1-process"}},
		{"pot-1-heater-on", "relays", "board", []string{"pot-1-heater", "pot-1-process"}},
		{"heaters-by", "coil", "number", []string{"pot-1-heater", "pot-2-heater", "heaters-function"}},
		{"contactor-on", "relays", "board", []string{"contactor", "contactor-function"}},
		{"line-1-units", "7, 8", "7", []string{"contactor", "contactor-on", "heaters-on", "pot-1-heater", "pot-1-heater-on", "pot-2-heater", "pot-1-process"}},
	} {
		file := filepath.Join(t.TempDir(), "bench.yaml")
		s := &session{Options: Options{File: file}, Answers: answered(), was: Answers{}, around: Around{File: file}}
		for key, answer := range map[string]string{"line-1-units": "7, 8", "line-1-unit-8-name": "relays", "probes-on": "board", "contacts-on": "board", "heaters-on": "each",
			"pot-1-heater-on": "relays", "pot-2-heater-on": "relays", "pot-1-process": "none", "contactor-on": "relays"} {
			s.Answers[key] = answer
		}
		now := s.script(s.around)
		require.True(t, now.known(), "%v", now.why)
		q := now.asked[slices.IndexFunc(now.asked, func(q Question) bool { return q.Key == c.key })]
		require.Equal(t, c.was, s.Answers[c.key])
		s.takeBack(q)
		s.was[c.asked[0]] = s.Answers[c.asked[0]] // it was taken back before
		wrong, err := s.take(t.Context(), q, c.is)
		require.NoError(t, errors.Join(wrong, err))
		for _, key := range c.asked {
			assert.NotContains(t, s.Answers, key, c.key)
			assert.NotContains(t, s.was, key, c.key)
		}
		assert.Equal(t, c.is, s.Answers[c.key])
		assert.Contains(t, s.Answers, "contact-enable", "what rests on something else stays")
	}
}

// TestControllersEachOnItsOwn: what one of them has is offered for the next, and the file is
// one of a bench that is heated by set-points.
func TestControllersEachOnItsOwn(t *testing.T) {
	a := answered()
	for key, answer := range map[string]string{
		"pot-2-probes": "both", "pot-2-plate": "function: 4, address: 3, type: int16, scale: 0.1, unit: C",
		"line-1-units": "7, 8, 9", "line-1-unit-8-name": "left one", "line-1-unit-9-name": "right one", "probes-on": "board", "contacts-on": "board", "contactor-on": "board",
		"heaters-by": "setpoint", "controllers-sense": "plate", "heaters-on": "each", "pot-1-heater-on": "left one", "pot-2-heater-on": "right one",
		"pot-1-heater": "6 0 int16 0.1 C", "pot-1-process": "3 1 int16 0.1 C", "pot-2-process": "none",
	} {
		a[key] = answer
	}
	delete(a, "pot-2-heater")
	s := a.script(Around{File: "bench.yaml"})
	require.False(t, s.known())
	q := s.asked[s.open]
	require.Equal(t, "pot-2-heater", q.Key, "%v", s.why)
	a["pot-2-heater"] = q.Usual
	s = a.script(Around{File: "bench.yaml"})
	require.True(t, s.known(), "%v", s.why)
	b, err := a.facts("bench.yaml").parse("bench.yaml")
	require.NoError(t, err)
	assert.True(t, b.Pots[0].Controller.Is())
	a["pot-2-probes"] = "melt"
	s = a.script(Around{File: "bench.yaml"})
	assert.ErrorContains(t, s.why, "needs both, on a module of their own")
}
