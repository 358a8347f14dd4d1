package plan

import (
	"meltwarden/control/guard"
	"meltwarden/daemon/checks"
)

// cautions stand first on every sheet.
var cautions = []string{
	"This sheet and the program are not the protection. An independent cut-out with its own sensor and manual reset, a fuse, an earth, a residual-current device and an emergency stop that breaks the contactor in hardware are. The local code and a licensed electrician have the last word.",
	"Liquid vinyl at 170 °C sticks and burns: gauntlets, face shield, long sleeves, no children. Cool a burn under running water for 20 minutes, do not peel vinyl off the skin, call for help.",
	"Overheated vinyl gives off hydrogen chloride: work under extraction. If it smokes, press an emergency stop outside the fumes, leave, get help.",
	"Class B extinguisher and a lid within reach, never water. Never leave a hot bench alone.",
	"All times are estimates. Go by the bench and what you see, not by the clock. Nothing heats by itself.",
}

// checks are what has to be so before any heat.
func (p *Plan) checks(u unit) (words []string) {
	for _, c := range checks.Of(p.Bench, p.Recipe, u.difference(guard.ColdAgreeC)) {
		words = append(words, c.Words)
	}
	return words
}
