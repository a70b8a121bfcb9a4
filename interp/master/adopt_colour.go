package master

import "image"

// differences turns luminance and colour differences into 16-bit RGB. Where
// the differences are stored at a smaller size, their samples lie in the middle
// of the pixels that they serve (JFIF, T.871), and between those middles they
// are interpolated linearly, so that the edges of the small samples don't show
// in an enlargement. Whole numbers throughout, one rounding at the end.
type differences struct {
	m            *image.YCbCr
	across, down int // pixels for one sample, 1, 2 or 4
	w, h         int // samples
	shift        int // 20 + log2 of the weights' sum
}

func newDifferences(m *image.YCbCr) (*differences, bool) {
	d := &differences{m: m}
	switch m.SubsampleRatio {
	case image.YCbCrSubsampleRatio444:
		d.across, d.down, d.shift = 1, 1, 22
	case image.YCbCrSubsampleRatio422:
		d.across, d.down, d.shift = 2, 1, 23
	case image.YCbCrSubsampleRatio440:
		d.across, d.down, d.shift = 1, 2, 23
	case image.YCbCrSubsampleRatio420:
		d.across, d.down, d.shift = 2, 2, 24
	case image.YCbCrSubsampleRatio411:
		d.across, d.down, d.shift = 4, 1, 24
	case image.YCbCrSubsampleRatio410:
		d.across, d.down, d.shift = 4, 2, 25
	default:
		return nil, false
	}
	r := m.Rect
	d.w, d.h = (r.Dx()+d.across-1)/d.across, (r.Dy()+d.down-1)/d.down
	return d, true
}

// between says which two of n samples serve pixel x, and their weights in
// (2·each)ths.
func between(x, each, n int) (near, far, nearWeight, farWeight int) {
	near = x / each
	off := 2*(x%each) + 1 - each // from the sample's middle, in (2·each)ths
	far = near
	if off > 0 {
		far = min(near+1, n-1)
	} else if off < 0 {
		far, off = max(near-1, 0), -off
	}
	return near, far, 2*each - off, off
}

// The weights of T.871 (Rec. 601) in 2²⁰ths: 1.402, 0.344136, 0.714136, 1.772.
const (
	crToR = 1470104
	cbToG = 360853
	crToG = 748826
	cbToB = 1858077
)

// rgb gives pixel (x, y).
func (d *differences) rgb(dst []uint16, x, y int) {
	m := d.m
	x0, x1, wx0, wx1 := between(x, d.across, d.w)
	y0, y1, wy0, wy1 := between(y, d.down, d.h)
	at := func(p []uint8) int64 {
		a, b := p[y0*m.CStride:], p[y1*m.CStride:]
		v := wy0*(wx0*int(a[x0])+wx1*int(a[x1])) + wy1*(wx0*int(b[x0])+wx1*int(b[x1]))
		return int64(v - 128*4*d.across*d.down)
	}
	cb, cr := at(m.Cb), at(m.Cr)
	l := int64(m.Y[y*m.YStride+x]) << d.shift
	dst[0] = d.sample(l + crToR*cr)
	dst[1] = d.sample(l - cbToG*cb - crToG*cr)
	dst[2] = d.sample(l + cbToB*cb)
}

// sample brings an 8-bit number with d.shift binary places to 16 bits,
// rounding half up.
func (d *differences) sample(v int64) uint16 {
	v = (v*257 + 1<<(d.shift-1)) >> d.shift
	return uint16(max(0, min(65535, v)))
}
