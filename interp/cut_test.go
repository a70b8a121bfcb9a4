package interp

import (
	"testing"

	"platemark/ops"
)

// Bands and rings keep their bounds whatever the picture and the workers, and
// every worker has a band. Figures by hand: 18000 px of 16-bit RGB are 108000
// bytes a row, 240 rows 25.9 MB.
func TestMemoryIsBounded(t *testing.T) {
	for _, rowBytes := range []int{0, 1000, 108000, 1 << 23} {
		for _, workers := range []int{1, 2, 16, 64} {
			for _, rows := range []int{1, 500, 12000, 1 << 20} {
				band, under := cut(rows, workers, 0, rowBytes)
				if band < 15 || band > defaultBandRows || under < workers+1 || under > 2*workers+1 {
					t.Errorf("%d rows of %d bytes, %d workers: %d bands of %d rows", rows, rowBytes, workers, under, band)
				}
				if most := int64(band) * int64(under) * int64(rowBytes); most > bandsMost && band > 64 {
					t.Errorf("%d rows of %d bytes, %d workers: %d bytes in bands", rows, rowBytes, workers, most)
				}
			}
		}
	}
	if band, under := cut(12000, 16, 0, 108000); band != 120 || under != 20 {
		t.Errorf("%d bands of %d rows", under, band)
	}
	if band, _ := cut(12000, 16, 77, 108000); band != 77 {
		t.Errorf("77 rows became %d", band)
	}
	// 152 rows of 150000 bytes, as a picture of 25000 px needs that is made
	// small, are 22.8 MB: 8 times that are within 192 MiB.
	g := &graph{nodes: []gnode{{pic: ops.Pic{W: 25000, H: 16000, C: 3}, ring: 152}}}
	for ask, want := range map[int]int{1: 1, 2: 2, 8: 8, 16: 8} {
		if got := g.workers(ask); got != want {
			t.Errorf("%d workers where %d were asked for", got, ask)
		}
	}
	g.nodes[0].ring = 16000
	if got := g.workers(4); got != 1 {
		t.Errorf("%d workers with rings of 2.4 GB", got)
	}
}
