package config

import (
	"fmt"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
	"meltwarden/control/injector"
)

// What an injector may be (E): from a syringe to more than any hand pushes, and from warmed
// a little to as hot as its melt.
const (
	minBoreM, maxBoreM       = 0.005, 0.06
	minPreheatC, maxPreheatC = 10.0, 190.0
	minLowestC, maxLowestC   = 110.0, 175.0
)

// readInjector reads what the melts are drawn into; all of it may be left out.
func readInjector(m *strict.Map) injector.Injector {
	defer m.Done()
	return injector.Injector{
		BoreM:    strict.Optional(m, "bore", within(kind(quantity.Length, "25 mm"), minBoreM, maxBoreM, millimetres), 0),
		PreheatC: strict.Optional(m, "preheat", temperature("60 C", minPreheatC, maxPreheatC), 0),
		LowestC:  strict.Optional(m, "lowest", temperature("150 C", minLowestC, maxLowestC), 0),
	}
}

func millimetres(m float64) string { return fmt.Sprintf("%.0f mm", 1000*m) }
