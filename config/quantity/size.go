package quantity

// An inch is 25.4 mm and a pound 453.59237 g, of 16 ounces, all exact (NIST Handbook 44,
// appendix C).
var (
	lengthUnits = []unit{{"mm", 0.001}, {"cm", 0.01}, {"in", 0.0254}}
	massUnits   = []unit{{"g", 0.001}, {"kg", 1}, {"oz", 0.45359237 / 16}, {"lb", 0.45359237}}
)

// Length reads metres from a text in mm, cm or in.
func Length(text string) (float64, error) { return measure(text, lengthUnits) }

// Mass reads kilograms from a text in g, kg, oz or lb.
func Mass(text string) (float64, error) { return measure(text, massUnits) }
