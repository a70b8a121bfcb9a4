package ops

import (
	"fmt"
	"sync"

	"platemark/ops/exact"
)

// lightness gives L* (CIE 15:2004) of the luminance of a picture's pixels, which is
// rounded to a 65535th of white's, halves up.
type lightness struct {
	space *hueSpace // nil for grey
	tones [3][]float64
}

// newLightness refuses, for what, a picture that isn't grey or RGB by curves.
func newLightness(what string, p Pic) (*lightness, error) {
	if err := curvesOnly(what, p); err != nil {
		return nil, err
	}
	l := &lightness{}
	if p.C == 3 {
		var ok bool
		if l.space, ok = newHueSpace(p.Profile); !ok {
			return nil, fmt.Errorf("%s: the profile %q has no red, green and blue of its own", what, p.Profile.Description())
		}
	}
	for c := range p.C {
		l.tones[c] = p.Profile.Tone(c).Decode64()
	}
	return l, nil
}

// row sets dst to L* of a row.
func (l *lightness) row(dst []float32, src []uint16) {
	table := levels()[:65536]
	r := l.tones[0][:65536]
	if l.space == nil {
		for i, v := range src[:len(dst)] {
			dst[i] = table[exact.RoundU16(float64(65535*r[v]))]
		}
		return
	}
	g, b := l.tones[1][:65536], l.tones[2][:65536]
	for i := range dst {
		p := src[3*i : 3*i+3 : 3*i+3]
		dst[i] = table[exact.RoundU16(float64(65535*l.space.luminance(r[p[0]], g[p[1]], b[p[2]])))]
	}
}

// levels is L* of each 65535th of white's luminance.
var levels = sync.OnceValue(func() []float32 {
	makeRoots()
	t := make([]float32, 65536)
	for i := range t {
		t[i] = float32(labOfLight(float64(i) / 65535))
	}
	return t
})
