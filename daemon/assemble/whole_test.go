package assemble

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon"
	"meltwarden/daemon/commission"
	"meltwarden/daemon/history"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// TestNumbersOfABoxOfParts: what was answered while the file was made is not asked
// again, and the rest of commissioning finds the bench as the file says. It prints how long
// that takes of a person who has everything at hand.
func TestNumbersOfABoxOfParts(t *testing.T) {
	atABox(t, func(t *testing.T, b *box) {
		began := time.Now()
		require.NoError(t, b.led(whole()...), b.said())
		made := time.Since(began)
		file := b.good()
		past, err := history.Open(t.TempDir())
		require.NoError(t, err)
		require.NoError(t, commission.Give(past, file, "test", Left(b.file), false))
		require.NoError(t, Drop(b.file))

		b.works = true
		b.out.Reset()
		typed := NewTyped(strings.NewReader(theRest))
		err = commission.Run(t.Context(), commission.Options{
			Bench: file, Wiring: daemon.Wiring(file), Open: b.open, Clock: b.clk, History: past,
			In: typed.Reader(t.Context()), Out: b, Version: "test",
		})
		require.NoError(t, err, b.said())
		asked := strings.Join(strings.Fields(b.said()), " ")
		require.Contains(t, asked, "At what temperature of the plate does it open?")
		for _, q := range commission.InFile() {
			require.NotContains(t, asked, q.Text, "it was answered before")
		}
		record, err := commission.Load(past)
		require.NoError(t, err)
		require.True(t, commission.StatusOf(record, file).Complete)
		require.NoError(t, past.Close())
		t.Logf("bench file after %v, record after %v more, of bench time and instant hands", made.Round(time.Second), (time.Since(began) - made).Round(time.Second))
		synctest.Wait()
	})
}

// theRest is what is typed after that; all of it is invented, and the empty line says that it
// is right.
const theRest = "280 C\nthe owner, 3 May 1999\n30 mA device in the box\nthe owner, 3 May 1999\nthe electrician, 2 May 1999\nthe owner, 3 May 1999\n" +
	"latching relay with a button\nevery plate, nothing else\nfan to the yard\nfoam at the door, lids on the shelf\nhook beside the bench\nthe electrician, 2 May 1999\n\n" +
	"60 C\ndry\n60 C\ndry\n"

// work is what a person does a second after commissioning asks for it.
func (b *box) work(words string) {
	fault := func(do func(simbench.Fault, simbench.Place) error, f simbench.Fault, at simbench.Place) func() {
		return func() { assert.NoError(b.t, do(f, at)) }
	}
	power, pot := simbench.Place{Unit: simbench.UnitPower}, func(i int) simbench.Place { return simbench.Place{Pot: i, Probe: registers.Melt} }
	for said, do := range map[string]func(){
		"Press the bench's enable button": b.PressEnable,
		"Press the emergency stop.":       fault(b.Inject, simbench.EStopOpened, simbench.Place{}),
		"Release it.":                     fault(b.Clear, simbench.EStopOpened, simbench.Place{}),
		"Open the cut-out":                fault(b.Inject, simbench.CutOutOpened, simbench.Place{}),
		"reset it by hand.\n":             fault(b.Clear, simbench.CutOutOpened, simbench.Place{}),
		"Switch the fan off.":             fault(b.Inject, simbench.FanStopped, simbench.Place{}),
		"Switch it on again.":             fault(b.Clear, simbench.FanStopped, simbench.Place{}),
		"Switch the supply of device":     fault(b.Inject, simbench.UnitRestarts, power),
		"It is off. Switch it on":         fault(b.Clear, simbench.UnitRestarts, power),
		"the melt probe of pot left in":   func() { b.DipMelt(0, 60) },
		"the melt probe of pot right in":  func() { b.DipMelt(1, 60) },
		"Take the tip out and DRY IT: wipe": func() {
			for i := range 2 {
				assert.NoError(b.t, b.Inject(simbench.PulledProbe, pot(i)))
				b.PutMeltBack(i)
			}
		},
	} {
		if strings.Contains(words, said) {
			time.AfterFunc(time.Second, do)
		}
	}
}
