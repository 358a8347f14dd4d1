package plan

import (
	"fmt"
	"strings"

	"meltwarden/config/quantity"
)

// cautions stand first on every sheet.
var cautions = []string{
	"This sheet and the program are not the protection. An independent cut-out with its own sensor and manual reset, a fuse, an earth, a residual-current device and an emergency stop that breaks the contactor in hardware are. The local code and a licensed electrician have the last word.",
	"Liquid vinyl at 170 °C sticks and burns: gauntlets, face shield, long sleeves, no children. Cool a burn under running water for 20 minutes, do not peel vinyl off the skin, call for help.",
	"Overheated vinyl gives off hydrogen chloride: work under extraction. If it smokes, press an emergency stop outside the fumes, leave, get help.",
	"Class B extinguisher and a lid within reach, never water. Never leave a hot bench alone.",
	"All times are estimates. Go by the bench and what you see, not by the clock. Nothing heats by itself.",
}

// agreeC is how far cold probes may lie apart (C), in kelvins: the guard's own figure.
const agreeC = 3.0

// checks are what has to be so before any heat.
func (p *Plan) checks(u unit) []string {
	guard := p.Bench.Protection
	return []string{
		"Extraction at the pots runs; you see or feel that it draws.",
		"Gauntlets, face shield and long sleeves are on. No children, no pets, nobody who does not know.",
		"Class B extinguisher and a lid or fire blanket in reach; the local emergency number on the wall.",
		"Emergency stop in reach, and one outside the fumes; tried today: the contactor drops. On record: " + guard.EStop + ".",
		"Cut-out tried as its maker says, and reset by hand. On record: " + guard.CutOut + ".",
		"Fuse and earth as on record: " + guard.Fuse + "; " + guard.Earth + ".",
		"Moulds, inserts, rods, cups, colourants, flake and salt dry and warm: a drop of water in hot vinyl spatters.",
		"Mould complete with all its inserts; clamped before any push. Injectors clean, dry, and moving freely.",
		fmt.Sprintf("Every probe dry and in its own pot, its tip covered and in the middle; cold, all agree within %s.", u.difference(agreeC)),
		"Volumes measured as below. Least fill that covers the probe: " + p.leastFills() + ". See that it is covered.",
	}
}

// leastFills are what the bench file says of each colour's pot.
func (p *Plan) leastFills() string {
	var said []string
	for _, c := range p.Recipe.Colours {
		least := "not recorded"
		for _, pot := range p.Bench.Pots {
			if pot.Name == c.Pot && pot.LeastFillML > 0 {
				least = quantity.FormatVolume(pot.LeastFillML)
			}
		}
		said = append(said, c.Name+" "+least)
	}
	return strings.Join(said, ", ")
}
