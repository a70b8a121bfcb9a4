//go:build !amd64 || plain

package jpeg

// Without assembly nothing is done fast.

func fastColours(src []byte, stride int, luma, a, b *[64]uint64) bool            { return false }
func (t *quantiser) fastCode(d *[64]uint64, w *[32]uint64, rows *[2]uint64) bool { return false }
