package plan

import (
	"math/big"
	"testing"

	"platemark/ops"
	"platemark/ops/colour"
)

// The room of a file is one figure for plan, order and build: a small JPEG isn't
// charged a megabyte that it never needs, and noise has room at the highest
// quality (1.32 bytes a sample, measured).
func TestRoom(t *testing.T) {
	space, _ := colour.Space("sRGB")
	p := ops.Pic{W: 1000, H: 500, C: 3, Profile: space}
	for _, c := range []struct {
		f        FileSpec
		from, to int64 // of the likely size
		most     int64 // at least
	}{
		{FileSpec{Format: "jpeg", Quality: 90, Profile: space}, 110_000, 125_000, 1_980_000},
		{FileSpec{Format: "jpeg", Quality: 90, Profile: space, LargestBytes: 100_000}, 100_000, 100_000, 100_000},
		{FileSpec{Format: "tiff", Bits: 16, Profile: space, PPI: big.NewRat(100, 1)}, 3_000_000, 3_010_000, 3_000_000},
	} {
		likely, most := c.f.Room(p)
		if likely < c.from || likely > c.to || most < c.most || most < likely || c.f.Format == "tiff" && most != likely {
			t.Errorf("%s: %d, at most %d", c.f.Format, likely, most)
		}
	}
}
