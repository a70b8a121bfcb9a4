//go:build !amd64 || plain

package jpeg

// Without assembly nothing is done fast.

func fastColours(src []byte, stride int, luma, a, b *[64]uint64) bool { return false }
func (p *writer) fastCodes(w *[32]uint64, which uint, some uint64, t *codes, first uint32) bool {
	return false
}
func (t *quantiser) fastCode(d *[64]uint64, w *[32]uint64, rows *[2]uint64) bool { return false }
