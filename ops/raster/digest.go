// Package raster holds what every picture has whatever is done to it: rows in
// memory or in a temporary file, the one way to 8 bits, and the digests that name
// its content.
//
// It promises that a digest depends on the samples, the size, the channels and
// the profile alone: not on byte order of the machine, nor on how the rows
// were cut among workers.
package raster

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"hash/crc32"
	"slices"
	"unsafe"
)

// BandRows is the number of row fingerprints under one band digest.
const BandRows = 256

// Sum is a SHA-256.
type Sum [sha256.Size]byte

// String is the lower-case hexadecimal form.
func (s Sum) String() string { return hex.EncodeToString(s[:]) }

// MarshalText is the hexadecimal form.
func (s Sum) MarshalText() ([]byte, error) { return hex.AppendEncode(nil, s[:]), nil }

// UnmarshalText reads that form.
func (s *Sum) UnmarshalText(b []byte) error {
	if len(b) != 2*len(s) {
		return hex.ErrLength
	}
	_, err := hex.Decode(s[:], b)
	return err
}

var littleEndian = func() bool {
	x := uint16(1)
	return *(*byte)(unsafe.Pointer(&x)) == 1
}()

// LE returns the samples as 16-bit little-endian bytes. On a little-endian
// machine it is the row's own memory, else it is written to scratch, which is
// grown as needed. The result is read-only.
func LE(row []uint16, scratch *[]byte) []byte {
	if len(row) == 0 {
		return nil
	}
	if littleEndian {
		return unsafe.Slice((*byte)(unsafe.Pointer(&row[0])), 2*len(row))
	}
	if cap(*scratch) < 2*len(row) {
		*scratch = make([]byte, 2*len(row))
	}
	b := (*scratch)[:2*len(row)]
	for i, v := range row {
		binary.LittleEndian.PutUint16(b[2*i:], v)
	}
	return b
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// RowSum is a row's fingerprint: the CRC-32C (RFC 3720, B.4) of its samples,
// 16-bit little-endian. It tells rows apart that differ by chance; against
// forgery stand the digests of files.
func RowSum(row []uint16, scratch *[]byte) uint32 {
	return crc32.Checksum(LE(row, scratch), castagnoli)
}

// Bands folds row fingerprints into band digests, each the SHA-256 of those of
// BandRows rows, 32-bit little-endian; the last band may have fewer.
func Bands(rows []uint32) []Sum {
	out := make([]Sum, 0, (len(rows)+BandRows-1)/BandRows)
	for band := range slices.Chunk(rows, BandRows) {
		b := make([]byte, 0, 4*BandRows)
		for _, r := range band {
			b = binary.LittleEndian.AppendUint32(b, r)
		}
		out = append(out, sha256.Sum256(b))
	}
	return out
}

// PictureSum is the SHA-256 of width, height and channels (32-bit
// little-endian each), the profile digest (zeros for none) and the band
// digests.
func PictureSum(w, h, c int, profile Sum, bands []Sum) Sum {
	var head [12]byte
	binary.LittleEndian.PutUint32(head[0:], uint32(w))
	binary.LittleEndian.PutUint32(head[4:], uint32(h))
	binary.LittleEndian.PutUint32(head[8:], uint32(c))
	d := sha256.New()
	d.Write(head[:])
	d.Write(profile[:])
	for i := range bands {
		d.Write(bands[i][:])
	}
	var s Sum
	d.Sum(s[:0])
	return s
}
