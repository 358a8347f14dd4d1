package plot

import "image/color"

// palette is grey, because most of what is drawn is normal; a colour is only on
// what a person did or must see. Lines differ by weight and dashes, marks by
// shape: colour never says anything alone. There is no transparency: the band
// lies under everything else, so that opaque grey looks the same and comes out
// the same in every format.
type palette struct {
	ground, ink, dim, rule, band, edge color.NRGBA
	duty, dutyPeak                     color.NRGBA
	shot, spoiled, trip                color.NRGBA
}

var (
	light = palette{
		ground: rgb(0xfbfcfb), ink: rgb(0x14171a), dim: rgb(0x4c5257), rule: rgb(0xe2e5e4),
		band: rgb(0xd3d9dc), edge: rgb(0x6c757b), duty: rgb(0x868f95), dutyPeak: rgb(0xcdd3d6),
		shot: rgb(0x0b6b38), spoiled: rgb(0x8a5a00), trip: rgb(0xa90f22),
	}
	dark = palette{
		ground: rgb(0x1b1e21), ink: rgb(0xf2f4f5), dim: rgb(0xb2b9be), rule: rgb(0x2d3236),
		band: rgb(0x3a4147), edge: rgb(0x8b959b), duty: rgb(0x7b858b), dutyPeak: rgb(0x464d53),
		shot: rgb(0x58c98a), spoiled: rgb(0xffc233), trip: rgb(0xff7b86),
	}
)

func paletteOf(s Style) palette {
	if s.Dark {
		return dark
	}
	return light
}

func rgb(hex uint32) color.NRGBA {
	return color.NRGBA{R: uint8(hex >> 16), G: uint8(hex >> 8), B: uint8(hex), A: 0xff}
}
