//go:build amd64 && !plain

package jpeg

import "golang.org/x/sys/cpu"

// They choose the assembly; the results are the same numbers either way.
var (
	haveAVX2 = cpu.X86.HasAVX2
	haveBMI2 = cpu.X86.HasBMI1 && cpu.X86.HasBMI2
)

// pairs are factors for the assembly, of two neighbouring numbers of 16 bits
// each, and what it adds.
var pairs = [...][2]int16{
	// Of red and blue, each less green: Y, and less Cb, less Cr; then roundY and
	// roundC, the lower half first.
	{19595, 7471}, {11059, -32768}, {-32768, 5329}, {-32768, 0}, {roundC & 0xffff, roundC >> 16},
	// Coefficients 2 and 6, of t1-t2 and t0-t3.
	{c0541, c0541 + c0765}, {c0541 - c1847, c0541},
	// Coefficients 1, 3, 5, 7, of t4 and t5, then t6 and t7.
	{c1175 - c0899, c1175 - c0390}, {c1175, c1501 - c0899 - c0390 + c1175},
	{c1175 - c1961, c1175 - c2562}, {c3072 - c2562 - c1961 + c1175, c1175},
	{c1175, c2053 - c2562 - c0390 + c1175}, {c1175 - c2562, c1175 - c0390},
	{c0298 - c0899 - c1961 + c1175, c1175}, {c1175 - c1961, c1175 - c0899},
	// What rounds products, as 32 bits; the level shift of a row; what rounds the
	// second pass's sums; the bias of words.
	{1 << (pass1 - 1), 0}, {1 << (pass2 - 1), 0}, {8 * 128 * 4, 8 * 128 * 4}, {2, 2}, {zero, zero},
}

//go:noescape
func coloursAVX2(src *byte, stride int, luma, a, b *[64]uint64)

//go:noescape
func codeAVX2(d *[64]uint64, w *[32]uint64, rows *[2]uint64, by *[3][32]uint64)

//go:noescape
func codesBMI2(p *writer, w *[32]uint64, which uint, some uint64, t *codes, first uint32)

// fastColours, fastCode and fastCodes do all or nothing, and say which.

func fastColours(src []byte, stride int, luma, a, b *[64]uint64) bool {
	if haveAVX2 {
		_ = src[7*stride : 7*stride+48] // the bounds check that assembly lacks
		coloursAVX2(&src[0], stride, luma, a, b)
	}
	return haveAVX2
}

func (t *quantiser) fastCode(d *[64]uint64, w *[32]uint64, rows *[2]uint64) bool {
	if haveAVX2 {
		codeAVX2(d, w, rows, &t.by)
	}
	return haveAVX2
}

// fastCodes may use as many bytes of p.buf as codes: room has been made.
func (p *writer) fastCodes(w *[32]uint64, which uint, some uint64, t *codes, first uint32) bool {
	if haveBMI2 {
		codesBMI2(p, w, which, some, t, first)
	}
	return haveBMI2
}
