package interp

import (
	"fmt"
	"math/big"
	"os"

	"platemark/interp/disk"
	"platemark/interp/plan"
	"platemark/ops/exact"
	"platemark/ops/raster"
)

// pixels is the whole number of pixels nearest to r, halves upwards.
func pixels(r *big.Rat) int { return int(exact.HalfUp(r).Int64()) }

func newStore(w, h, c int) (*raster.Store, error) {
	size := 2 * int64(w) * int64(h) * int64(c)
	if size <= plan.MemoryLimit {
		return raster.NewMemory(w, h, c), nil
	}
	f, err := disk.Temp(size)
	if err != nil {
		return nil, fmt.Errorf("no room in %s for a temporary picture of %d MB: %w", os.TempDir(), size/1e6, disk.PlainError(err))
	}
	return raster.NewFile(f, w, h, c), nil
}
