package paper

import (
	"bytes"
	"encoding/binary"
	"math"
	"slices"
)

type tag struct {
	sig  string
	data []byte
}

// assemble writes the profile: version 2.4, output class, RGB, Lab, made on
// 2026-01-01T00:00:00. Equal tags share their data.
func assemble(tags []tag) []byte {
	head := make([]byte, 132)
	copy(head[8:], []byte{2, 0x40, 0, 0})
	copy(head[12:], "prtrRGB Lab ")
	binary.BigEndian.PutUint16(head[24:], 2026)
	head[27], head[29] = 1, 1 // month, day
	copy(head[36:], "acsp")
	head[67] = 1 // media-relative colorimetric
	for i, v := range [3]uint32{63190, 65536, 54061} {
		binary.BigEndian.PutUint32(head[68+4*i:], v)
	}
	binary.BigEndian.PutUint32(head[128:], uint32(len(tags)))
	start := len(head) + 12*len(tags)
	var body []byte
	var at []int
	for i, t := range tags {
		off := start + len(body)
		if k := slices.IndexFunc(tags[:i], func(u tag) bool { return bytes.Equal(u.data, t.data) }); k >= 0 {
			off = at[k]
		} else {
			body = append(body, t.data...)
			for len(body)%4 != 0 {
				body = append(body, 0)
			}
		}
		at = append(at, off)
		head = append(head, t.sig...)
		head = binary.BigEndian.AppendUint32(head, uint32(off))
		head = binary.BigEndian.AppendUint32(head, uint32(len(t.data)))
	}
	out := append(head, body...)
	binary.BigEndian.PutUint32(out, uint32(len(out)))
	return out
}

// lutHead is the head of a lut16 of three channels to three.
func lutHead(grid, n int) []byte {
	d := append([]byte("mft2\x00\x00\x00\x00"), 3, 3, byte(grid), 0)
	for i := range 9 {
		v := uint32(0)
		if i%4 == 0 {
			v = 65536
		}
		d = binary.BigEndian.AppendUint32(d, v)
	}
	d = binary.BigEndian.AppendUint16(d, uint16(n))
	return binary.BigEndian.AppendUint16(d, 2)
}

// appendStraight adds three curves that change nothing.
func appendStraight(d []byte) []byte {
	for range 3 {
		d = append(d, 0, 0, 0xff, 0xff)
	}
	return d
}

func append16(d []byte, values ...float64) []byte {
	for _, v := range values {
		d = binary.BigEndian.AppendUint16(d, round16(v))
	}
	return d
}

// round16 rounds half up and holds to 0..65535.
func round16(v float64) uint16 {
	return uint16(math.Min(math.Max(math.Floor(v+0.5), 0), 65535))
}

func whitePoint(xyz [3]float64) []byte {
	d := append([]byte("XYZ "), 0, 0, 0, 0)
	for _, v := range xyz {
		d = binary.BigEndian.AppendUint32(d, uint32(math.Floor(float64(v*65536)+0.5)))
	}
	return d
}

// textDescription is the version 2 description: plain text, no others.
func textDescription(s string) []byte {
	d := append([]byte("desc"), 0, 0, 0, 0)
	d = binary.BigEndian.AppendUint32(d, uint32(len(s)+1))
	d = append(d, s...)
	return append(d, make([]byte, 1+4+4+2+1+67)...)
}
