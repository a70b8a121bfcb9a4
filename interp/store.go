package interp

import (
	"fmt"
	"os"

	"platemark/interp/disk"
	"platemark/ops/raster"
)

// memoryLimit is the largest picture kept in memory between prepare and the
// prints, in bytes: 89 megapixels of RGB. A larger one goes to a temporary file
// and is read by rows, which takes some hundredths more of processor time.
const memoryLimit = 512 << 20

// testOnlyMemoryLimit, if not 0, replaces memoryLimit.
var testOnlyMemoryLimit int64

func memoryMost() int64 {
	if testOnlyMemoryLimit != 0 {
		return testOnlyMemoryLimit
	}
	return memoryLimit
}

func newStore(w, h, c int) (*raster.Store, error) {
	size := 2 * int64(w) * int64(h) * int64(c)
	if size <= memoryMost() {
		return raster.NewMemory(w, h, c), nil
	}
	f, err := disk.Temp(size)
	if err != nil {
		return nil, fmt.Errorf("no room in %s for a temporary picture of %d MB: %w", os.TempDir(), size/1e6, disk.PlainError(err))
	}
	return raster.NewFile(f, w, h, c), nil
}
