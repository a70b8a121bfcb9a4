package interptest

import (
	"bytes"
	"context"
	"hash/crc32"
	"image"
	"image/jpeg"
	stdpng "image/png"
	"slices"
	"testing"

	"platemark/ops/codec/tiff"
)

// JPEG is a picture as Go's library writes it, with segments behind SOI.
func JPEG(t testing.TB, img image.Image, segments ...[]byte) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 100}); err != nil {
		t.Fatal(err)
	}
	return slices.Concat(b.Bytes()[:2], slices.Concat(segments...), b.Bytes()[2:])
}

// JPEGSegment is a segment of a JPEG file.
func JPEGSegment(marker byte, body string) []byte {
	n := len(body) + 2
	return append([]byte{0xff, marker, byte(n >> 8), byte(n)}, body...)
}

// Exif is an Exif block with an orientation and, behind it, a preview.
func Exif(orientation int) string {
	return "MM\x00*\x00\x00\x00\x08" + "\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00" + string([]byte{byte(orientation)}) + "\x00\x00" + "\x00\x00\x00\x1a" +
		"\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00" + "\x00\x00\x00\x00"
}

// Decode reads a TIFF file.
func Decode(t testing.TB, path string) (tiff.Info, []uint16) {
	t.Helper()
	b := Read(t, path)
	f, err := tiff.Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	var px []uint16
	if err := f.Decode(context.Background(), 1, func(_ int, rows []uint16) error { px = append(px, rows...); return nil }); err != nil {
		t.Fatal(err)
	}
	return f.Info(), px
}

// PNG is a picture as Go's library writes it, with a chunk behind IHDR.
func PNG(t testing.TB, img image.Image, name, data string) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := stdpng.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return Chunk(b.Bytes(), name, data)
}

// Chunk puts a chunk behind IHDR.
func Chunk(b []byte, name, data string) []byte {
	be := func(v uint32) []byte { return []byte{byte(v >> 24), byte(v >> 16), byte(v >> 8), byte(v)} }
	c := append([]byte(name), data...)
	return slices.Concat(b[:33], be(uint32(len(data))), c, be(crc32.ChecksumIEEE(c)), b[33:])
}
