// Package swatch tells two colours of a screen apart by numbers. A swatch is typed or
// picked: it says what somebody meant, and measures no bait. What comes of it is as good
// as the screen and the eye that chose it.
package swatch

import (
	"fmt"
	"math"
	"strconv"
)

// Light is a colour in linear sRGB: red, green and blue light from 0 to 1.
type Light [3]float64

// Parse reads "#" and six hexadecimal digits of sRGB, two each for red, green and blue.
func Parse(text string) (Light, error) {
	digits, err := strconv.ParseUint(text[min(1, len(text)):], 16, 24)
	if err != nil || len(text) != len("#rrggbb") || text[0] != '#' {
		return Light{}, fmt.Errorf("swatch %q: no colour; write it like #7a8790", text)
	}
	return Light{linear(digits >> 16), linear(digits >> 8 & 0xff), linear(digits & 0xff)}, nil
}

// linear is the light of a value from 0 to 255 (the transfer of IEC 61966-2-1).
func linear(value uint64) float64 {
	v := float64(value) / 255
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// Over is what a colour looks like that lies over another and lets some of it through:
// the opacity's share of its own light, and for the rest the light of what is behind. It
// is an estimate: the light of a layer of vinyl is scattered and absorbed as well.
func (l Light) Over(behind Light, opacity float64) Light {
	for i := range l {
		l[i] = opacity*l[i] + (1-opacity)*behind[i]
	}
	return l
}

// XYZ are the tristimulus values, 1 for the light of white (the matrix of IEC 61966-2-1
// in seven digits).
func (l Light) XYZ() (x, y, z float64) {
	return 0.4124564*l[0] + 0.3575761*l[1] + 0.1804375*l[2],
		0.2126729*l[0] + 0.7151522*l[1] + 0.0721750*l[2],
		0.0193339*l[0] + 0.1191920*l[1] + 0.9503041*l[2]
}

// Lab is a colour in CIE 1976 L*a*b*: L from 0, black, to 100, white.
type Lab struct{ L, A, B float64 }

// The white of D65, and the constants of CIE 15.
const (
	whiteX, whiteZ = 0.95047, 1.08883
	epsilon, kappa = 216.0 / 24389, 24389.0 / 27
)

// Lab returns the colour as it looks under D65.
func (l Light) Lab() Lab {
	x, y, z := l.XYZ()
	fx, fy, fz := compressed(x/whiteX), compressed(y), compressed(z/whiteZ)
	return Lab{116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)}
}

func compressed(t float64) float64 {
	if t > epsilon {
		return math.Cbrt(t)
	}
	return (kappa*t + 16) / 116
}
