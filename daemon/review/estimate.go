package review

import (
	"math"

	"meltwarden/daemon/estimate"
	"meltwarden/daemon/history"
)

// InInjector labels what a melt lost between its draw and the push.
const InInjector = "lost in the injector"

// estimate adds what is reckoned of a shot and was not kept with it: how much each melt
// lost in its injector, and how unlike they flowed at the push. It is reckoned anew each
// time it is shown, so that a better formula speaks of old shots as well.
func (r Review) estimate(out *Sheet, s history.Shot, u Unit) {
	in := estimate.Unit(u)
	var melts []estimate.Pushed
	for i, p := range s.Card.Pots {
		out.Pots[i].Injector = NotRecorded
		if !p.MeltC.Known() || !p.DrawToPushS.Known() {
			continue
		}
		d := estimate.OfDraw(r.Settings.Injector, float64(p.MeltC), math.NaN(), float64(s.Card.RoomC), float64(p.DrawToPushS))
		out.Pots[i].Injector = in.Words(estimate.Difference, d.Colder)
		out.Estimated = d.Assumes(in) + "."
		melts = append(melts, estimate.Pushed{DeviationC: float64(p.DeviationC), Colder: d.Colder})
	}
	if len(melts) > 1 && len(melts) == len(s.Card.Pots) {
		out.Estimated += " " + in.Apart(melts)
	}
}
