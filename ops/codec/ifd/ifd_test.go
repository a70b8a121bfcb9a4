package ifd

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"os"
	"slices"
	"strconv"
	"testing"
)

// The sizes of field types as published: testdata/standards/tiff.csv.
func TestTypesAsPublished(t *testing.T) {
	f, err := os.Open("../../../testdata/standards/tiff.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment, r.FieldsPerRecord = '#', -1
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, row := range rows {
		if row[0] != "type" {
			continue
		}
		seen++
		n, err := strconv.Atoi(row[1])
		if got := fmt.Sprintf("%d bytes", typeSize(uint16(n))); err != nil || got != row[3] {
			t.Errorf("type %s: %s, the table says %s", row[1], got, row[3])
		}
	}
	if seen < 10 {
		t.Errorf("only %d types", seen)
	}
}

// What is written is read back, in each order and shape, whether it fits its
// field or not.
func TestWriteThenRead(t *testing.T) {
	names := Names{270: "ImageDescription", 274: "Orientation", 282: "XResolution", 296: "ResolutionUnit", 700: "XMP", 33432: "Copyright"}
	for _, big := range []bool{false, true} {
		for _, order := range []string{"II", "MM"} {
			w := &Writer{Order: binary.LittleEndian, Big: big}
			if order == "MM" {
				w.Order = binary.BigEndian
			}
			w.Text(ImageDescription, "reeds")
			w.Shorts(Orientation, 6)
			w.Resolution(720, 7)
			w.Shorts(ResolutionUnit, 3)
			w.Add(700, Byte, 5, []byte("12345"))
			w.Text(Copyright, "nobody\n") // isn't printable
			b := w.Bytes()
			if len(b) != w.Size() || string(b[:2]) != order {
				t.Fatalf("% x, Size says %d", b, w.Size())
			}
			r, first, err := Open(bytes.NewReader(b), int64(len(b)), names)
			if err != nil {
				t.Fatal(err)
			}
			d, err := r.Dir(first)
			if err != nil || d.Next != 0 || len(d.Fields) != 5 {
				t.Fatalf("%+v, %v", d, err)
			}
			title, _ := d.Get(ImageDescription)
			xmp, _ := d.Get(700)
			text, err1 := r.Bytes(title, 100)
			packet, err2 := r.Bytes(xmp, 100)
			unit, err3 := r.One(d, ResolutionUnit, 2)
			ppi, err4 := r.PerInch(d, XResolution, unit, t.Errorf)
			if string(text) != "reeds\x00" || string(packet) != "12345" || unit != 3 || ppi.RatString() != "9144/35" || slices.ContainsFunc([]error{err1, err2, err3, err4}, func(e error) bool { return e != nil }) {
				t.Errorf("%s big %v: %q %q %d %v, %v %v %v %v", order, big, text, packet, unit, ppi, err1, err2, err3, err4)
			}
		}
	}
}
