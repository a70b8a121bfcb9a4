//go:build outside

package second

import (
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"strings"
)

// A writer makes one varied small recipe, from a seed. Not every recipe that it
// makes is a right one: what crosses a rule of the language is refused, and
// another takes its place.
type writer struct {
	*rand.Rand
	w, h    int // of the master, upright
	grey    bool
	masks   []string
	papers  []string
	lab     bool
	other   bool // a picture made elsewhere
	block   bool // a steps block, wall, brings the picture to its size
	out     strings.Builder
	named   int
	in      string            // prepare or print
	maskSum [sha256.Size]byte // of mask.png
	printed struct{ w, h int }
}

// The printers' and other devices' profiles that recipes name.
var devices = []string{"paper-2", "paper-4", "eight-2", "xyz-2", "xyz-4", "rgb_lifted"}

var spaces = []string{"sRGB", "opRGB", "ROMM-RGB", "Display-P3", "grey-2.2"}

func (r *writer) linef(format string, args ...any) { fmt.Fprintf(&r.out, format+"\n", args...) }

// one reports true about once in n times.
func (r *writer) one(n int) bool { return r.IntN(n) == 0 }

func (r *writer) of(words ...string) string { return words[r.IntN(len(words))] }

// num is a number from lo to hi with up to three decimals.
func (r *writer) num(lo, hi float64) string {
	v := lo + r.Float64()*(hi-lo)
	s := fmt.Sprintf("%.*f", r.IntN(4), v)
	if s == "0" || s == "-0" || strings.Trim(s, "-0.") == "" {
		return fmt.Sprintf("%.3f", v)
	}
	return s
}

// may gives text about once in n times, else nothing.
func (r *writer) may(n int, text string) string {
	if r.one(n) {
		return text
	}
	return ""
}

func (r *writer) point(lo, hi float64) string {
	if r.one(3) {
		return fmt.Sprintf("(%s px, %s px)", r.num(lo/100*float64(r.w), hi/100*float64(r.w)), r.num(lo/100*float64(r.h), hi/100*float64(r.h)))
	}
	return fmt.Sprintf("(%s%%, %s%%)", r.num(lo, hi), r.num(lo, hi))
}

// recipe writes the whole file for a master of w x h px.
func (r *writer) recipe(master string, prints int) string {
	r.linef("recipe 1 draft")
	if r.one(2) {
		r.linef("title %q", r.of("Reeds", "Reeds, 4 < 5 & more", "Schilf, Nebel über dem Moor"))
	}
	if r.one(3) {
		r.linef("rights %q", r.of("by the photographer", "© the photographer"))
	}
	if r.one(5) {
		r.linef("round %d", 1+r.IntN(9))
	}
	r.linef("master %s", master)
	if r.other = r.one(4); r.other {
		r.linef("picture mended \"mended.png\" space %s", r.of("sRGB", "opRGB", "ROMM-RGB"))
	}
	for i := range r.IntN(3) {
		name := fmt.Sprintf("paper-%c", 'a'+i)
		r.papers = append(r.papers, name)
		r.linef("paper %s {\n    profile %q", name, r.of(devices...)+".icc")
		if r.one(2) {
			r.linef("    intent %s", r.of("perceptual", "relative", "saturation", "absolute"))
		}
		if r.one(2) {
			r.linef("    black-point %s", r.of("on", "off"))
		}
		r.linef("}")
	}
	if r.lab = r.one(3); r.lab {
		r.linef("lab house {\n    takes jpeg, tiff\n    space %s\n    resolution 300 ppi\n    bits 16\n    largest file 1 GB\n}", r.of("sRGB", "opRGB", "Display-P3"))
	}
	for i := range r.IntN(4) {
		r.mask(fmt.Sprintf("mask-%c", 'a'+i))
	}
	r.in = "prepare"
	r.prepare()
	r.in = "print"
	if r.block = r.one(3); r.block {
		r.linef("steps wall {")
		if r.one(2) {
			r.spots()
		}
		r.enlarge()
		r.linef("    sharpen radius 0.8 px amount 90%% as sharp\n    take sharp\n}")
	}
	for i := range prints {
		r.print(fmt.Sprintf("print-%c", 'a'+i))
	}
	if r.one(5) {
		r.linef("inputs {\n    \"mask.png\" sha256 \"%x\"\n}", r.maskSum)
	}
	return r.out.String()
}

func (r *writer) mask(name string) {
	r.linef("mask %s {", name)
	for i := range 1 + r.IntN(4) {
		op := ""
		if i > 0 {
			op = r.of("", "", "less ", "within ")
		}
		soft := r.may(2, " soft "+r.num(0, 100)+"%")
		length := func(lo, hi float64) string {
			if r.one(3) {
				return r.num(lo/100*float64(r.w), hi/100*float64(r.w)) + " px"
			}
			return r.num(lo, hi) + "%"
		}
		switch k := r.IntN(11); {
		case k == 9:
			r.linef("    %s%s", op, r.seen())
		case k == 10:
			r.linef("    %sedges radius %s over %s%%", op, r.of("0.2%", r.num(0.25, 6)+" px"), r.num(2, 40))
		case k == 0:
			r.linef("    %sellipse at %s size %s x %s%s", op, r.point(-10, 110), length(5, 90), length(5, 90), soft)
		case k == 1:
			r.linef("    %srectangle at %s size %s x %s%s", op, r.point(-10, 110), length(5, 90), length(5, 90), soft)
		case k == 2:
			r.linef("    %spolygon %s, %s, %s, %s%s", op, r.point(0, 100), r.point(0, 100), r.point(-20, 100), r.point(0, 120), soft)
		case k == 3:
			r.linef("    %sstroke along %s, %s, %s width %s%s", op, r.point(0, 100), r.point(0, 100), r.point(0, 100), length(1, 30), soft)
		case k == 4:
			r.linef("    %sgradient from %s to %s", op, r.point(0, 100), r.point(0, 100))
		case k == 5:
			r.linef("    %sfile %q", op, r.of("mask.png", "turned.tif"))
		case k == 6 && len(r.masks) > 0:
			r.linef("    %smask %s", op, r.of(r.masks...))
		case k == 7 && i > 0:
			r.linef("    soften %s", r.of(r.num(0.3, 6)+"%", r.num(0.2, 6)+" px"))
		default:
			if i == 0 || r.one(2) {
				r.linef("    invert")
			} else {
				r.linef("    %sellipse at %s size 30%% x 40%% soft 60%%", op, r.point(10, 90))
			}
		}
	}
	r.linef("}")
	r.masks = append(r.masks, name)
}

// seen is a line that looks at the picture: a range of lightness, chroma or hue.
func (r *writer) seen() string {
	switch k := r.IntN(3); {
	case r.grey || k == 0:
		low := r.IntN(60)
		return fmt.Sprintf("range lightness %d to %d%s", low, low+r.IntN(40), r.may(2, " soft "+r.num(1, 40)))
	case k == 1:
		low := r.IntN(60)
		return fmt.Sprintf("range chroma %d%% to %d%%%s", low, low+r.IntN(90), r.may(2, " soft "+r.num(1, 60)+"%"))
	}
	return fmt.Sprintf("range hue %d deg to %d deg%s", r.IntN(361), r.IntN(361), r.may(2, " soft "+r.num(1, 89)+" deg"))
}

func (r *writer) through() string {
	if len(r.masks) == 0 || r.one(2) {
		return ""
	}
	return " through " + r.of(r.masks...)
}

func (r *writer) prepare() {
	if !r.other && r.one(4) {
		return
	}
	r.linef("prepare {")
	for !r.other && r.one(3) {
		r.linef("    %s", r.of("turn left", "turn right", "turn over", "mirror"))
	}
	switch {
	case r.other && r.one(2):
		r.linef("    take mended")
	case r.other:
		r.linef("    sharpen radius 1.5 px amount 120%% as own")
		if r.one(2) {
			r.linef("    blend mended over own%s at %s%%", r.through(), r.num(1, 99))
		} else {
			r.linef("    blend own over mended%s at %s%%", r.through(), r.num(1, 99))
		}
	case r.one(4):
		r.crop()
	}
	n := r.IntN(4)
	for range n {
		r.step()
	}
	if n == 0 {
		r.linef("    sharpen radius 1 px amount 50%%")
	}
	if !r.grey && r.one(6) {
		r.linef("    convert to %s", r.of("sRGB", "opRGB", "ROMM-RGB"))
	}
	r.linef("}")
}

func (r *writer) crop() {
	if r.one(2) {
		r.linef("    crop to %s%s", r.of("3:2", "1:1", "5:7", "4:3"), r.may(2, " at "+r.point(20, 80)))
	} else {
		r.linef("    crop (%s%%, %s%%) to (%s%%, %s%%)", r.num(1, 30), r.num(1, 30), r.num(60, 99), r.num(60, 99))
	}
}

// spots writes a run of spots, some from a place that is given.
func (r *writer) spots() {
	for range 1 + r.IntN(3) {
		at := r.point(5, 95)
		if r.in == "print" && r.one(3) {
			at = fmt.Sprintf("(%s mm, %s mm)", r.num(1, 8), r.num(1, 8))
		}
		radius := r.of(r.num(0.3, 1)+"%", r.num(0.8, 7)+" px")
		r.linef("    spot at %s radius %s%s%s", at, radius, r.may(2, " soft "+r.num(0, 100)+"%"), r.may(3, " from "+r.point(10, 90)))
	}
}

// step writes a step that leaves the size.
func (r *writer) step() {
	sharpen := func() string {
		radius := r.of(r.num(0.2, 4)+" px", r.num(0.01, 0.1)+"%")
		if r.in == "print" && r.one(3) {
			radius = r.num(0.02, 1) + " mm"
		}
		method := ""
		if r.one(3) {
			radius, method = r.num(0.1, 3)+" px", " method deconvolve blur "+r.of("disc", "gaussian")
		}
		return fmt.Sprintf("sharpen radius %s amount %s%%%s%s%s%s", radius, r.num(20, 400), method,
			r.may(3, " quiet "+r.num(0, 3)+"%"), r.may(2, " halo "+r.num(0, 40)+"%"), r.through())
	}
	switch r.IntN(10) {
	case 9:
		r.linef("    denoise lightness %s%% chroma %s%%%s", r.num(0, 200), r.num(0, 200), r.through())
	case 8:
		if r.in != "print" {
			r.linef("    %s", sharpen())
			return
		}
		r.linef("    grain amount %s%% size %s mm seed %d", r.num(0, 25), r.num(0.02, 1), r.IntN(1<<32))
	case 7:
		if r.grey {
			r.linef("    %s", sharpen())
			return
		}
		r.linef("    fringe%s radius %s px%s", r.through(), r.num(1, 20), r.may(2, fmt.Sprintf(" hue %d deg to %d deg", r.IntN(361), r.IntN(361))))
	case 0:
		r.linef("    spot pixels over %s%%%s", r.num(0, 30), r.through())
	case 1:
		r.spots()
	case 2, 3:
		r.tone()
	case 4:
		r.named++
		a, b := fmt.Sprintf("one-%d", r.named), fmt.Sprintf("two-%d", r.named)
		r.linef("    %s as %s", sharpen(), a)
		r.linef("    %s as %s", sharpen(), b)
		r.linef("    blend %s over %s%s%s", a, b, r.through(), r.may(2, " at "+r.num(1, 99)+"%"))
	case 5:
		if r.in != "print" {
			r.linef("    %s", sharpen())
			return
		}
		if !r.grey {
			red, green := r.IntN(120)-10, r.IntN(80)-20
			r.linef("    mix red %d%% green %d%% blue %d%%", red, green, 100-red-green)
		}
		if r.grey = r.one(2); !r.grey {
			r.linef("    tint hue %s deg chroma %s%%", r.num(0, 360), r.num(0, 40))
		}
	default:
		r.linef("    %s", sharpen())
	}
}

func (r *writer) tone() {
	paper := ""
	if len(r.papers) > 0 {
		paper = r.may(5, " for "+r.of(r.papers...))
	}
	r.linef("    tone%s%s {", paper, r.through())
	n := 0
	add := func(often int, format string, args ...any) {
		if r.one(often) {
			r.linef("        "+format, args...)
			n++
		}
	}
	add(2, "exposure %s stops", r.num(-2, 2))
	add(3, "curve (0, %d), (%d, %d), (%d, %d), (100, %d)", r.IntN(10), 10+r.IntN(30), 10+r.IntN(40), 50+r.IntN(40), 50+r.IntN(45), 95+r.IntN(6))
	add(3, "contrast %s%%", r.num(-40, 80))
	add(3, "local contrast %s%% radius %s", r.num(-80, 100), r.of(r.num(0.4, 2)+"%", r.num(0.5, 30)+" px"))
	if !r.grey {
		add(3, "warmth %s mired", r.num(-50, 50))
		add(3, "chroma %s%%", r.num(-80, 90))
		add(3, "muted chroma %s%%", r.num(-80, 90))
	}
	if n == 0 {
		r.linef("        exposure +0.3 stops")
	}
	r.linef("    }")
}

// size writes the print's size, from 40 to 200 px a side.
func (r *writer) size() {
	switch r.IntN(5) {
	case 0:
		r.linef("    size %d px wide at %s ppi", 40+r.IntN(160), r.num(72, 400))
	case 1:
		r.linef("    size %s mm high at %d ppi", r.num(10, 30), 72+r.IntN(80))
	case 2:
		r.linef("    size within %s cm x %s cm at %d ppi", r.num(1, 3), r.num(1, 3), 100+r.IntN(60))
	case 3:
		r.linef("    size within %d px x %d px at 300 ppi", 40+r.IntN(160), 40+r.IntN(160))
	default:
		r.linef("    size %s in wide at %s ppi", r.num(0.5, 1), r.num(80, 200))
	}
}

func (r *writer) enlarge() {
	kernels := []string{"nearest", "linear", "cubic", "mitchell", "b-spline", "lanczos2", "lanczos3", "lanczos4"}
	light := func() string { return r.may(2, " light "+r.of("linear", "encoded")) }
	if !r.one(3) {
		r.linef("    enlarge with %s%s", r.of(kernels...), light())
		return
	}
	r.named++
	a, b := fmt.Sprintf("crisp-%d", r.named), fmt.Sprintf("smooth-%d", r.named)
	r.linef("    enlarge with %s%s as %s", r.of(kernels...), light(), a)
	r.linef("    enlarge with %s%s as %s", r.of(kernels...), light(), b)
	r.linef("    blend %s over %s%s%s", a, b, r.through(), r.may(2, " at "+r.num(1, 99)+"%"))
}

func (r *writer) print(name string) {
	grey := r.grey
	defer func() { r.grey = grey }()
	on := ""
	if len(r.papers) > 0 {
		on = r.may(2, " on "+r.of(r.papers...))
	}
	r.linef("print %s%s {", name, on)
	if r.one(4) {
		r.linef("    edition 12 plus 2 proofs")
	}
	r.size()
	if r.one(3) {
		r.crop()
	}
	for range r.IntN(2) {
		r.step()
	}
	if r.block && r.one(2) {
		r.linef("    follow wall")
	} else {
		r.enlarge()
	}
	for range r.IntN(3) {
		r.step()
	}
	printer := r.convert()
	r.edges(printer)
	if r.one(2) {
		r.linef("    save tiff \"%s.tif\"%s", name, r.may(2, " bits "+r.of("8", "16")))
	} else {
		r.linef("    save jpeg \"%s.jpg\"%s%s", name, r.may(2, fmt.Sprintf(" quality %d", 1+r.IntN(100))), r.may(2, " chroma "+r.of("full", "half")))
	}
	r.linef("}")
}

// convert reports whether the print is now in a device's colours.
func (r *writer) convert() bool {
	intent := r.may(2, " intent "+r.of("perceptual", "relative", "saturation"))
	black := r.may(3, " black-point "+r.of("on", "off"))
	switch k := r.IntN(6); {
	case k == 0 && len(r.papers) > 0:
		r.linef("    convert to %s%s%s", r.of(r.papers...), intent, black)
		return true
	case k == 1:
		r.linef("    convert to profile %q%s%s", r.of(devices...)+".icc", r.may(2, " intent "+r.of("perceptual", "relative", "saturation", "absolute")), black)
		return true
	case k == 2 && r.lab:
		r.linef("    convert to house%s%s", intent, black)
	case k == 3 && !r.grey:
		r.linef("    convert to %s%s%s keep hue", r.of("sRGB", "opRGB", "Display-P3"), intent, black)
	case k == 4:
		r.linef("    convert to %s%s%s", r.of(spaces...), intent, black)
	}
	return false
}

func (r *writer) edges(printer bool) {
	colour := func() string {
		if printer {
			return r.of("white", "black")
		}
		return r.of("white", "black", "grey "+r.num(0, 100))
	}
	width := func() string { return r.of(fmt.Sprintf("%d px", 1+r.IntN(12)), r.num(0.3, 2)+" mm") }
	switch r.IntN(6) {
	case 0:
		r.linef("    border %s%s", width(), r.may(2, " colour "+colour()))
	case 1:
		r.linef("    wrap %s continued %s", width(), r.of("reflected", "repeated"))
	case 2:
		r.linef("    wrap %s colour %s", width(), colour())
	case 3:
		r.linef("    wrap %s of picture", width())
	}
}
