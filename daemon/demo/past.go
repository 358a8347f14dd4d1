package demo

import (
	"bytes"
	"context"
	"fmt"
	"runtime"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
	"meltwarden/devices/clock"
	"meltwarden/devices/simbench"
)

// MakePast fills an empty history with earlier evenings of two baits, so that review
// has something to show. They are made now, by the simulated bench and the program's
// own control in virtual time, and invented: the maker shoots when all is ready,
// except where the evening's plan says otherwise, and calls what comes of it by the
// table of the trade. tell hears how many are done.
func MakePast(ctx context.Context, s *history.Store, b *config.Bench, version string, now time.Time, tell func(done, all int)) error {
	ctx, end := context.WithCancel(ctx)
	defer end()
	plans := evenings()
	type made struct {
		evening *evening
		err     error
	}
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	ready := make([]chan made, len(plans))
	for i := range plans {
		ready[i] = make(chan made, 1)
	}
	go func() {
		for i, p := range plans {
			select {
			case free <- struct{}{}:
			case <-ctx.Done():
				return
			}
			go func() {
				e, err := newEvening(p, b, version, now)
				if err == nil {
					err = e.pass(ctx)
				}
				ready[i] <- made{e, err}
			}()
		}
	}()
	for i := range plans {
		var m made
		select {
		case m = <-ready[i]:
		case <-ctx.Done():
			return ctx.Err()
		}
		<-free // one more may begin: no more of them wait in memory than can be made at once
		if m.err != nil {
			return fmt.Errorf("invented evening %d: %w", i+1, m.err)
		}
		if err := m.evening.write(s); err != nil {
			return err
		}
		tell(i+1, len(plans))
	}
	return nil
}

// evening is one session on its way into history.
type evening struct {
	plan     plan
	start    history.Start
	settings control.Settings
	began    time.Time

	bench   *simbench.Bench
	clk     *clock.Clock
	marks   []history.Mark // what the maker says in the next cycle
	kept    []history.Kept
	heats   []shot.Heat      // what the potfuls had by the end
	verdict [][]shot.Verdict // of each shot
}

func newEvening(p plan, b *config.Bench, version string, now time.Time) (*evening, error) {
	recipe, err := config.ParseRecipe("invented recipe", p.recipe())
	if err != nil {
		return nil, err
	}
	settings, err := config.Settings(b, recipe)
	if err != nil {
		return nil, err
	}
	day := now.AddDate(0, 0, -p.daysAgo)
	e := &evening{
		plan: p, start: daemon.StartOf(b, recipe, version), clk: clock.Stepped(),
		began: time.Date(day.Year(), day.Month(), day.Day(), p.hour, p.minute, 0, 0, now.Location()),
	}
	if e.bench, err = newBench(settings, Options{Seed: p.seed}, e.clk); err != nil {
		return nil, err
	}
	settings.Limits.HeatersProven = e.bench.ProvesTimeout()
	e.settings, e.start.Settings, e.start.Invented = settings, settings, true
	e.bench.ReportTo(e)
	return e, nil
}

// longest is the end of an evening whose plan did not come to one.
const longest = 2 * time.Hour

// pass lets the evening pass, a cycle at a time.
func (e *evening) pass(ctx context.Context) error {
	step, scribe := control.NewBench(e.settings), daemon.NewScribe(e.settings.Pots)
	scribe.GoOn(e.start.DoseKJ, nil, 0)
	hands := hands{evening: e, pushes: e.plan.pushes}
	var in control.Input
	var f control.Frame
	for !hands.done {
		e.bench.Report(&in)
		marks := e.marks
		e.marks = nil
		in.Commands = in.Commands[:0]
		for _, m := range marks {
			in.Commands = append(in.Commands, m.Command)
		}
		in.Round()
		step.Step(&in, &f)
		e.bench.Apply(f.Outputs)
		e.kept = append(e.kept, scribe.Write(daemon.Happening{At: e.began.Add(f.Time), Input: &in, Frame: &f, Marks: marks}))
		hands.look(&f)
		if f.Time > longest {
			return fmt.Errorf("not over after %v", longest)
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		in.Elapsed = e.settings.Period
		e.clk.Advance(in.Elapsed)
	}
	e.heats = scribe.Heats()
	return nil
}

// Stirred implements simbench.Marks.
func (e *evening) Stirred(pot int) { e.say(control.Stir, pot) }

// Clear implements simbench.Marks.
func (e *evening) Clear(pot int) { e.say(control.TickClear, pot) }

func (e *evening) say(k control.CommandKind, pot int) {
	e.marks = append(e.marks, history.Mark{Command: control.Command{Kind: k, Pot: pot}})
}

// write puts the evening into history, with what the maker said of each shot.
func (e *evening) write(s *history.Store) error {
	r, err := s.Record(e.began, e.start)
	if err != nil {
		return err
	}
	for _, k := range e.kept {
		r.PutAll(k)
	}
	end := e.kept[len(e.kept)-1].Record.At
	if err := r.Close(end); err != nil {
		return err
	}
	if err := e.keepBatches(s, r.Run(), end); err != nil {
		return err
	}
	if err := e.judge(s, r.Run()); err != nil {
		return err
	}
	if e.plan.note != "" {
		if err := s.SetNote(r.Run(), e.plan.note); err != nil {
			return err
		}
	}
	if e.plan.promoted {
		return e.promote(s, r.Run(), end)
	}
	return nil
}

// keepBatches keeps what the potfuls have had, and which of them is the rest of one that
// was made before.
func (e *evening) keepBatches(s *history.Store, run int64, at time.Time) error {
	if err := s.KeepHeats(run, at, e.heats); err != nil {
		return err
	}
	for _, pot := range e.plan.rest {
		before, err := s.InPots(run - 1)
		if err != nil {
			return err
		}
		if err := s.SetBatch(run, pot, before[pot]); err != nil {
			return err
		}
	}
	return nil
}

func (e *evening) judge(s *history.Store, run int64) error {
	shots, err := s.Shots(run)
	if err != nil {
		return err
	}
	for i, sh := range shots {
		for _, v := range e.verdict[i] {
			v.At = sh.Wall.Add(demouldAfter).AddDate(0, 0, v.Day)
			if err := s.Judge(run, sh.Number, v); err != nil {
				return err
			}
		}
	}
	return nil
}

// demouldAfter is when the maker looks at a bait (C).
const demouldAfter = time.Minute

// promote makes the present recipe the version that came of this evening.
func (e *evening) promote(s *history.Store, run int64, at time.Time) error {
	recipe := config.DemoRecipe()
	return s.AddVersion(at, history.Version{
		Name: recipe.Name, Fingerprint: recipe.Fingerprint(), Source: string(recipe.Typed),
		Parent: e.start.Fingerprint, FromRun: run,
	})
}

// The pots of the demo, by their colours.
const (
	slate = iota
	ivory
	rust
)

// recipe is the recipe file of the evening: in the first ones the ivory was held
// cooler than it is now.
func (p plan) recipe() []byte {
	if p.coolIvory {
		return bytes.Replace(p.bait.recipe, []byte("setpoint: 171 C"), []byte("setpoint: 166 C"), 1)
	}
	return p.bait.recipe
}
