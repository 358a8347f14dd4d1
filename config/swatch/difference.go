package swatch

import "math"

// Difference is the CIEDE2000 colour difference with weights of 1: zero for the same,
// about 1 for the least that is seen. The letters are those of G. Sharma, W. Wu and
// E. N. Dalal, Color Research and Application 30 (2005) 21–30, equations 2 to 22.
func Difference(p, q Lab) float64 {
	c := (math.Hypot(p.A, p.B) + math.Hypot(q.A, q.B)) / 2
	g := 0.5 * (1 - math.Sqrt(seventh(c)/(seventh(c)+seventh(25))))
	c1, h1 := polar((1+g)*p.A, p.B)
	c2, h2 := polar((1+g)*q.A, q.B)
	dh, meanH := hues(h1, h2, c1*c2 == 0)
	meanL, meanC := (p.L+q.L)/2, (c1+c2)/2

	t := 1 - 0.17*cos(meanH-30) + 0.24*cos(2*meanH) + 0.32*cos(3*meanH+6) - 0.20*cos(4*meanH-63)
	fromMiddle := (meanL - 50) * (meanL - 50)
	dl := (q.L - p.L) / (1 + 0.015*fromMiddle/math.Sqrt(20+fromMiddle))
	dc := (c2 - c1) / (1 + 0.045*meanC)
	dH := 2 * math.Sqrt(c1*c2) * sin(dh/2) / (1 + 0.015*meanC*t)
	return math.Sqrt(dl*dl + dc*dc + dH*dH + rotation(meanC, meanH)*dc*dH)
}

// hues are the difference of two hues and their mean, in degrees. Of a colour without
// chroma, which has no hue, the other's counts.
func hues(h1, h2 float64, grey bool) (difference, mean float64) {
	switch difference, mean = h2-h1, (h1+h2)/2; {
	case grey:
		return 0, h1 + h2
	case math.Abs(difference) <= 180:
		return difference, mean
	case difference > 180:
		difference -= 360
	default:
		difference += 360
	}
	if h1+h2 < 360 {
		return difference, mean + 180
	}
	return difference, mean - 180
}

// rotation turns the ellipses of blue colours.
func rotation(meanC, meanH float64) float64 {
	turn := 30 * math.Exp(-(meanH-275)/25*(meanH-275)/25)
	return -2 * math.Sqrt(seventh(meanC)/(seventh(meanC)+seventh(25))) * sin(2*turn)
}

func polar(a, b float64) (chroma, hue float64) {
	if hue = math.Atan2(b, a) * 180 / math.Pi; hue < 0 {
		hue += 360
	}
	return math.Hypot(a, b), hue
}

func seventh(v float64) float64   { return math.Pow(v, 7) }
func cos(degrees float64) float64 { return math.Cos(degrees * math.Pi / 180) }
func sin(degrees float64) float64 { return math.Sin(degrees * math.Pi / 180) }
