package raster

// Eight writes a row's samples as 8 bits: v becomes (v + d) div 257, where d,
// from 0 to 256, is one even noise for all channels of a pixel. So a step of 8
// bits melts into the next in smooth ground, the mean of many pixels is v / 257,
// and what is k x 257 comes to k. y is the row and x the column of the first
// pixel in the whole picture: d depends on the place alone.
//
// d of (x, y) is (257 n) div 65536; n is the number x mod 4, from the low end,
// of the four 16-bit numbers in splitmix64's output (Steele, Lea and Flood,
// OOPSLA 2014) of the state (2^32 y + x div 4 + 1) times 9e3779b97f4a7c15.
func Eight(dst []byte, row []uint16, channels, x, y int) {
	dst = dst[:len(row)]
	first := uint64(y) << 32
	if head := min(-x&3*channels, len(row)); head > 0 {
		eightPart(dst[:head], row[:head], channels, x%4, Scattered(first+uint64(x)/4))
		row, dst, x = row[head:], dst[head:], (x+3)&^3
	}
	n := fastEight(dst, row, channels, first+uint64(x)/4)
	plainEight(dst[n*channels:], row[n*channels:], channels, first+uint64(x+n)/4)
}

// plainEight is Eight from a column on that 4 divides: four is its state's number.
func plainEight(dst []byte, row []uint16, channels int, four uint64) {
	dst = dst[:len(row)]
	for ; len(row) >= 4*channels; four++ {
		n := Scattered(four)
		a, b, c, d := even(n), even(n>>16), even(n>>32), even(n>>48)
		switch channels {
		case 1:
			in, out := (*[4]uint16)(row), (*[4]byte)(dst)
			out[0], out[1], out[2], out[3] = by257(in[0], a), by257(in[1], b), by257(in[2], c), by257(in[3], d)
		case 3:
			in, out := (*[12]uint16)(row), (*[12]byte)(dst)
			out[0], out[1], out[2] = by257(in[0], a), by257(in[1], a), by257(in[2], a)
			out[3], out[4], out[5] = by257(in[3], b), by257(in[4], b), by257(in[5], b)
			out[6], out[7], out[8] = by257(in[6], c), by257(in[7], c), by257(in[8], c)
			out[9], out[10], out[11] = by257(in[9], d), by257(in[10], d), by257(in[11], d)
		default:
			eightPart(dst[:4*channels], row[:4*channels], channels, 0, n)
		}
		row, dst = row[4*channels:], dst[4*channels:]
	}
	if len(row) > 0 {
		eightPart(dst, row, channels, 0, Scattered(four))
	}
}

// eightPart does some of four pixels, from number k on, whose noise is four's.
func eightPart(dst []byte, row []uint16, channels, k int, four uint64) {
	for i, v := range row {
		dst[i] = by257(v, even(four>>(16*(k+i/channels))))
	}
}

// even is the noise of the lowest 16 bits.
func even(n uint64) uint32 { return uint32(n) & 0xffff * 257 >> 16 }

// by257 is (v + d) div 257, as n div 257 = (n - n>>8) >> 8 for n below 257 x 256.
func by257(v uint16, d uint32) byte {
	n := uint32(v) + d
	return byte((n - n>>8) >> 8)
}

const step = 0x9e3779b97f4a7c15 // of splitmix64's state

// Scattered is number n, from 0 on, of splitmix64 from the state 0: random for tests
// of it, and a function of n alone.
func Scattered(n uint64) uint64 {
	z := (n + 1) * step
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}
