package judge_test

import (
	"fmt"
	"slices"
	"testing"

	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
)

// caseRow gathers one case over many pots.
type caseRow struct{ ratio, into, limit, over, under, plate []float64 }

// atLeastS is the shortest limit that a ratio to it says anything of.
const atLeastS = 20.0

func (r *caseRow) add(limitS float64, o rig.Outcome) {
	if limitS >= atLeastS {
		r.ratio = append(r.ratio, o.IntoS/limitS)
	}
	r.limit, r.into = append(r.limit, limitS), append(r.into, o.IntoS)
	r.over, r.under = append(r.over, o.OverC), append(r.under, o.UnderAllC)
	r.plate = append(r.plate, o.PlateOverC)
}

func (r *caseRow) log(t *testing.T, name, loop string) {
	ratio := "    -     -"
	if len(r.ratio) > 0 {
		ratio = fmt.Sprintf("%5.2f %5.2f", middle(r.ratio), slices.Max(r.ratio))
	}
	t.Logf("%-22s %-7s %4.0f %4.0f  %4.0f %4.0f  %s  %5.2f %5.2f  %5.1f %5.1f  %5.1f", name, loop,
		middle(r.limit), slices.Max(r.limit), middle(r.into), slices.Max(r.into), ratio,
		middle(r.over), slices.Max(r.over), middle(r.under), slices.Max(r.under), slices.Max(r.plate))
}

// TestNumbersOfCases prints how ours comes through every arrival and upset, beside the
// cascade alone: with JUDGE_SEEDS on all named pots, otherwise on one of them. Each is
// a test of its own, because all of them with ten seeds are eight minutes' work.
func TestNumbersOfCases(t *testing.T) {
	if testing.Short() {
		t.Skip("dozens of simulated evenings take some seconds")
	}
	pots, n := named(), seeds(t)
	if !full() {
		pots = pots[2:3]
	}
	t.Log(`
                               limit, s   in band, s  ÷ limit      over °C      under °C     plate
                               med worst  med worst  med   worst  med   worst  med   worst  worst`)
	for _, c := range judge.Cases() {
		t.Run(c.Name, func(t *testing.T) {
			ours, floor := make([]caseRow, len(pots)), make([]caseRow, len(pots))
			sideBySide(pots, func(i int, p *judge.Pot) {
				limitS := p.LimitOf(&c).IntoS
				for seed := range n {
					ours[i].add(limitS, p.RunCase(&c, judge.Ours, rig.Usual(), firstSeed+seed))
					floor[i].add(limitS, p.RunCase(&c, judge.FromCascade, rig.Usual(), firstSeed+seed))
				}
			})
			allOf(ours).log(t, c.Name, "ours")
			allOf(floor).log(t, "", "cascade")
		})
	}
}

func allOf(rows []caseRow) *caseRow {
	var all caseRow
	for i := range rows {
		r := &rows[i]
		all.ratio, all.into, all.limit = append(all.ratio, r.ratio...), append(all.into, r.into...), append(all.limit, r.limit...)
		all.over, all.under, all.plate = append(all.over, r.over...), append(all.under, r.under...), append(all.plate, r.plate...)
	}
	return &all
}
