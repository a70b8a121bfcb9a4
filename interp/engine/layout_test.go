package engine

import (
	"fmt"
	"math"
	"testing"

	"platemark/ops"
	"platemark/ops/colour"
)

// sized is a source of a size that is only planned.
func sized(w, h int) *Graph {
	p, _ := colour.Space("opRGB")
	return &Graph{Nodes: []Node{{Pic: ops.Pic{W: w, H: h, C: 3, Profile: p}}}}
}

// Bands keep their bounds whatever the picture and the workers, and every worker
// has one. Figures by hand: 18000 px of 16-bit RGB are 108000 bytes a row, 240
// rows 25.9 MB.
func TestBandsAreBounded(t *testing.T) {
	for _, rowBytes := range []int{0, 1000, 108000, 1 << 23} {
		for _, workers := range []int{1, 2, 16, 64} {
			for _, rows := range []int{1, 500, 12000, 1 << 18} {
				st := Lay(sized(10, rows), Options{Workers: workers, RowBytes: rowBytes}).Stages[0]
				if st.Band < 15 || st.Band > bandRows || st.under < workers+1 || st.under > 2*workers+1 {
					t.Errorf("%d rows of %d bytes, %d workers: %d bands of %d rows", rows, rowBytes, workers, st.under, st.Band)
				}
				if most := int64(st.Band) * int64(st.under+workers) * int64(rowBytes); most > bandsMost && st.Band > 64 {
					t.Errorf("%d rows of %d bytes, %d workers: %d bytes in bands", rows, rowBytes, workers, most)
				}
			}
		}
	}
	// 256 MiB / (33 x 108000 bytes): 75 rows fit; 60 is 240 halved twice.
	if st := Lay(sized(10, 12000), Options{Workers: 16, RowBytes: 108000}).Stages[0]; st.Band != 60 {
		t.Errorf("bands of %d rows", st.Band)
	}
	if st := Lay(sized(10, 12000), Options{Workers: 16, BandRows: 77, RowBytes: 108000}).Stages[0]; st.Band != 77 {
		t.Errorf("77 rows became %d", st.Band)
	}
}

// At 18000 x 12000 px every kind of step keeps the workers at work, and the
// memory that the layout states stays within what the workers may take, the
// bands, and the tables that all share.
func TestWorkersAreKeptAtWork(t *testing.T) {
	large := map[string]func(b *builder, in int) int{
		"wide sharpen": func(b *builder, in int) int {
			return b.add("sharpen", args("radius", "100", "amount", "1"), in)
		},
		"wide tone": func(b *builder, in int) int {
			return b.add("tone", args("local", "1/2", "local-radius", "400"), in)
		},
		"far spot": func(b *builder, in int) int {
			return b.add("spots", args("spot-1", "at 900 900 radius 20 soft 0 from 900 11000"), in)
		},
		"tall reduction": func(b *builder, in int) int { return b.enlarge(in, "lanczos3", 1, 40) },
		// The wrap's first and last rows come from 300 each, of all before it.
		"wrapped": func(b *builder, in int) int {
			p, q := b.enlarge(in, "cubic", 1, 1), b.enlarge(in, "lanczos3", 1, 1)
			return b.wrap(b.add("sharpen", args("radius", "2", "amount", "1"), b.add("blend", args("at", "1/2"), p, q, b.mask(in))), "mirror", 300)
		},
	}
	for name, step := range large {
		for _, workers := range []int{2, 64} {
			b := &builder{t: t, g: sized(18000, 12000)}
			b.border(step(b, b.add("spot-pixels", args("over", "1/2"), 0)), 300)
			l := Lay(b.g, Options{Workers: workers, RowBytes: 36000, MemoryLimit: 512 << 20})
			if most := int64(ringsMost+workers*ringsEach) + bandsMost + 128<<20; l.Memory > most {
				t.Errorf("%s, %d workers: %d MB, expected %d at most", name, workers, l.Memory>>20, most>>20)
			}
			for _, st := range l.Stages {
				want := min(workers, st.bands())
				if name == "wide sharpen" && workers == 64 {
					want = 8 // each holds 802 rows of 18000 float32, 58 MB
				}
				if st.Workers < want {
					t.Errorf("%s, %d workers: %d at work on node %d", name, workers, st.Workers, st.Node)
				}
			}
		}
	}
}

// What is read far around a row is kept; what isn't streams.
func TestKept(t *testing.T) {
	for _, c := range []struct {
		radius string
		kept   int
	}{{"10", 0}, {"100", 1}} {
		b := &builder{t: t, g: sized(900, 3000)}
		b.border(b.add("sharpen", args("radius", c.radius, "amount", "1"), b.add("spot-pixels", args("over", "1/2"), 0)), 9)
		if l := Lay(b.g, Options{Workers: 2, MemoryLimit: math.MaxInt64}); len(l.Stages) != c.kept+1 {
			t.Errorf("radius %s: %s", c.radius, fmt.Sprint(l.Stages))
		}
	}
}
