package draw

import (
	"cmp"
	"image"
	"image/color"
	"image/draw"
	"slices"
)

// indexed returns the image with a palette: the inks themselves, and the blends
// at the edges of letters and lines to sixteen steps a channel, the 256 most
// frequent of them. The file is a third as large, which a workshop's network
// feels, and it is written faster.
func indexed(m draw.Image) image.Image {
	rgba, ok := m.(*image.RGBA)
	if !ok {
		return m
	}
	var count [1 << 12]int
	for i := 0; i < len(rgba.Pix); i += 4 {
		count[step(rgba.Pix[i:])]++
	}
	var used []int
	for k, n := range count {
		if n > 0 {
			used = append(used, k)
		}
	}
	// The order is total, so that the same image gives the same palette.
	slices.SortFunc(used, func(a, b int) int { return cmp.Or(cmp.Compare(count[b], count[a]), cmp.Compare(a, b)) })

	shades := map[int]color.RGBA{}
	for _, c := range [...]color.RGBA{paper, ink, quiet, faint, steel, iron, work, amiss, black, white} {
		shades[step([]uint8{c.R, c.G, c.B})] = c
	}
	shade := func(k int) color.RGBA {
		if c, ok := shades[k]; ok {
			return c
		}
		return color.RGBA{uint8((k >> 8) * 17), uint8((k >> 4 & 15) * 17), uint8((k & 15) * 17), 0xff}
	}
	palette := make(color.Palette, 0, 256)
	var place [1 << 12]uint8
	for i, k := range used {
		if i < 256 {
			palette = append(palette, shade(k))
			place[k] = uint8(i)
		} else {
			place[k] = uint8(palette.Index(shade(k)))
		}
	}
	out := image.NewPaletted(rgba.Bounds(), palette)
	for i := range out.Pix {
		out.Pix[i] = place[step(rgba.Pix[4*i:])]
	}
	return out
}

// step is a colour to four bits a channel.
func step(p []uint8) int {
	return (int(p[0])+8)/17<<8 | (int(p[1])+8)/17<<4 | (int(p[2])+8)/17
}
