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
	for len(row) > 0 {
		four := Scattered(uint64(y)<<32 + uint64(x)/4)
		if x%4 == 0 && channels == 3 && len(row) >= 12 {
			in, out := (*[12]uint16)(row), (*[12]byte)(dst)
			for i := range 4 {
				d := even(four)
				out[3*i], out[3*i+1], out[3*i+2] = by257(in[3*i], d), by257(in[3*i+1], d), by257(in[3*i+2], d)
				four >>= 16
			}
			row, dst, x = row[12:], dst[12:], x+4
			continue
		}
		d := even(four >> (x % 4 * 16))
		for i, v := range row[:channels] {
			dst[i] = by257(v, d)
		}
		row, dst, x = row[channels:], dst[channels:], x+1
	}
}

// even is the noise of the lowest 16 bits.
func even(n uint64) uint32 { return uint32(n) & 0xffff * 257 >> 16 }

// by257 is (v + d) div 257, as n div 257 = (n - n>>8) >> 8 for n below 257 x 256.
func by257(v uint16, d uint32) byte {
	n := uint32(v) + d
	return byte((n - n>>8) >> 8)
}

// Scattered is number n, from 0 on, of splitmix64 from the state 0: random for tests
// of it, and a function of n alone.
func Scattered(n uint64) uint64 {
	z := (n + 1) * 0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}
