package causes

import (
	"fmt"
	"slices"

	"meltwarden/daemon/exact"
	"meltwarden/daemon/frames"
)

// rates are how often the fault came by mould and by recipe version, each where there are
// at least two of them.
func rates(seen []run) []Rate {
	moulds := tally(seen, func(_ run, s judged) string {
		if s.mould == "" {
			return ""
		}
		return "mould " + s.mould
	})
	versions := tally(seen, func(r run, _ judged) string { return fmt.Sprintf("%s, version %d", r.Recipe, r.Version) })
	return slices.Concat(moulds, versions)
}

// tally counts by a name, in the order in which the names come; "" is not recorded and
// counts nowhere. Fewer than two names compare nothing.
func tally(seen []run, name func(run, judged) string) []Rate {
	var all []Rate
	for _, r := range seen {
		for _, s := range r.shots {
			of := name(r, s)
			if of == "" {
				continue
			}
			i := slices.IndexFunc(all, func(x Rate) bool { return x.Of == of })
			if i < 0 {
				i, all = len(all), append(all, Rate{Of: of})
			}
			all[i].Shots++
			if s.faulty {
				all[i].Faulty++
			}
		}
	}
	if len(all) < 2 {
		return nil
	}
	for i, r := range all {
		low, high := exact.Wilson(r.Faulty, r.Shots)
		all[i].Low, all[i].High = frames.Figure(low), frames.Figure(high)
	}
	return all
}
