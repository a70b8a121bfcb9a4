package tiff

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/big"
	"slices"
	"strings"
	"testing"

	xtiff "golang.org/x/image/tiff"

	"platemark/ops/codec"
	"platemark/ops/raster"
)

// file writes a whole print file.
func file(t testing.TB, o Options, samples []uint16) []byte {
	t.Helper()
	l, err := NewLayout(o)
	if err != nil {
		t.Fatal(err)
	}
	b := slices.Clone(l.Header())
	for y := range o.H {
		b = l.AppendRow(b, samples[y*o.W*o.C:(y+1)*o.W*o.C], y)
	}
	b = append(b, l.Trailer()...)
	if int64(len(b)) != l.Size() {
		t.Fatalf("the file has %d bytes, Size says %d", len(b), l.Size())
	}
	return b
}

func samplesFor(o Options) []uint16 {
	p := make([]uint16, o.W*o.H*o.C)
	for i := range p {
		p[i] = uint16(i * 40503)
	}
	return p
}

func TestWriteThenRead(t *testing.T) {
	icc, xmp := bytes.Repeat([]byte("odd"), 101), []byte("<x:xmpmeta/>!")
	for _, o := range []Options{
		{W: 1, H: 1, C: 1, Bits: 8},
		{W: 7, H: 5, C: 3, Bits: 8, PPI: big.NewRat(300, 1), ICC: icc},
		{W: 301, H: 700, C: 3, Bits: 8, PPI: big.NewRat(72009, 100), Title: "Salt road", Rights: "by the photographer", XMP: xmp, ICC: icc},
		{W: 400, H: 300, C: 3, Bits: 16, PPI: big.NewRat(300, 1), Title: "Stra\u00dfe"},
		{W: 90000, H: 3, C: 1, Bits: 16, XMP: xmp},
	} {
		want := samplesFor(o)
		b := file(t, o, want)
		if o.Bits == 8 {
			n := o.W * o.C
			eight := make([]byte, n)
			for y := range o.H {
				raster.Eight(eight, want[y*n:(y+1)*n], o.C, 0, y)
				for i, v := range eight {
					want[y*n+i] = uint16(v) * 257
				}
			}
		}
		f, got, err := decodeAll(b, 2)
		if err != nil {
			t.Fatal(err)
		}
		in := f.Info()
		if !slices.Equal(got, want) {
			t.Errorf("%d x %d: other samples", o.W, o.H)
		}
		if in.W != o.W || in.H != o.H || in.Bits != o.Bits || in.Channels != o.C || in.Orientation != 1 || !bytes.Equal(in.ICC, o.ICC) || len(in.Others) != 0 {
			t.Errorf("%+v", in)
		}
		if o.PPI != nil && (in.XPPI.Cmp(o.PPI) != 0 || in.YPPI.Cmp(o.PPI) != 0 || len(in.Warnings) != 0) {
			t.Errorf("resolution %v x %v, %q", in.XPPI, in.YPPI, in.Warnings)
		}
		for _, s := range []string{o.Title, o.Rights, string(o.XMP)} {
			if s != "" && strings.Contains(string(b), s) != (s != "Stra\u00dfe") {
				t.Errorf("%q", s)
			}
		}
		img, err := xtiff.Decode(bytes.NewReader(b))
		if err != nil {
			t.Errorf("golang.org/x/image/tiff: %v", err)
		} else if !slices.Equal(samplesOf(img, o.C), want) {
			t.Errorf("golang.org/x/image/tiff reads other samples")
		}
		if !bytes.Equal(file(t, o, samplesFor(o)), b) {
			t.Error("the second writing gives other bytes")
		}
	}
}

// entry is a field as written.
type entry struct {
	tag, typ uint16
	count    int
	value    []byte
}

// sizes are those of the field types that are written (TIFF 6.0 section 2,
// BigTIFF).
var sizes = map[uint16]int{1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1, 16: 8}

// tagsOf reads a written directory plainly: tag to type, count and values.
func tagsOf(b []byte) (order []uint16, tags map[uint16]entry, big bool) {
	tags = map[uint16]entry{}
	u := func(b []byte) int { return int(binary.LittleEndian.Uint32(b)) }
	at, n, step, value := 10, int(b[8]), 12, 8
	if big = b[2] == 43; big {
		at, n, step, value = 24, int(b[16]), 20, 12
	}
	for range n {
		e := entry{tag: uint16(u(b[at:])), typ: uint16(u(b[at+2:])), count: u(b[at+4:])}
		size := e.count * sizes[e.typ]
		place := at + value
		if size > step-value {
			place = u(b[place:])
		}
		if place+size <= len(b) {
			e.value = b[place : place+size]
		}
		if place%2 == 1 {
			e.typ = 0 // not on a word boundary
		}
		order = append(order, e.tag)
		tags[e.tag] = e
		at += step
	}
	return order, tags, big
}

// Names, types and counts of every tag written, and the header, as published:
// testdata/standards/tiff.csv.
func TestWritesTagsAsPublished(t *testing.T) {
	names := map[string]string{}
	spec := map[string][]string{}
	required := ""
	for _, r := range standards(t) {
		switch r[0] {
		case "type":
			names[r[1]] = r[2]
		case "tag":
			spec[r[1]] = r
		case "rgb_required":
			required = r[2]
		}
	}
	o := Options{W: 301, H: 3000, C: 3, Bits: 16, PPI: big.NewRat(300, 1), Title: "A", Rights: "B", XMP: []byte("xmp"), ICC: []byte("icc")}
	for _, h := range []int{3000, 1 << 20} {
		o.H = h
		if h > 3000 {
			o.W = 1001
		}
		l, err := NewLayout(o)
		if err != nil {
			t.Fatal(err)
		}
		order, tags, isBig := tagsOf(l.Header())
		if isBig != (h > 3000) || isBig != l.BigTIFF() {
			t.Fatalf("BigTIFF %v", isBig)
		}
		if !slices.IsSorted(order) {
			t.Errorf("tags %d", order)
		}
		for _, tag := range order {
			e := tags[tag]
			num := new(big.Int).SetUint64(uint64(tag)).String()
			r, typ := spec[num], names[new(big.Int).SetUint64(uint64(e.typ)).String()]
			if r == nil || !slices.Contains(strings.Split(r[3], "|"), typ) && !(isBig && tag == 273 && typ == "LONG8") {
				t.Errorf("tag %d has type %s, published %v", tag, typ, r)
			}
			strips := ceilDiv(o.H, l.stripRows())
			want := map[string]int{"1": 1, "SamplesPerPixel": o.C, "StripsPerImage": strips}[r[4]]
			if want != 0 && e.count != want {
				t.Errorf("tag %d has %d values, published %s", tag, e.count, r[4])
			}
		}
		for _, s := range strings.Fields(required) {
			if !slices.ContainsFunc(order, func(v uint16) bool { return new(big.Int).SetUint64(uint64(v)).String() == s }) {
				t.Errorf("tag %s of baseline RGB is missing", s)
			}
		}
		for _, no := range []uint16{305, 306, 315} {
			if slices.Contains(order, no) {
				t.Errorf("tag %d is written", no)
			}
		}
	}
	want := unhex(t, example(t, "BigTIFF first 8 bytes")[2])
	l, _ := NewLayout(o)
	if !bytes.Equal(l.Header()[:8], want) {
		t.Errorf("% x", l.Header()[:8])
	}
}

// tifffile #47: classic up to just under 4 GiB, BigTIFF above. The sizes of the
// samples are those of the fault, at 300 ppi, 16-bit RGB.
func TestLargeFilesAreLaidOut(t *testing.T) {
	for _, c := range []struct {
		w, h    int // inches
		samples int64
		big     bool
	}{{60, 40, 1_296_000_000, false}, {90, 60, 2_916_000_000, false}, {120, 80, 5_184_000_000, true}} {
		l, err := NewLayout(Options{W: c.w * 300, H: c.h * 300, C: 3, Bits: 16, PPI: big.NewRat(300, 1), ICC: make([]byte, 500)})
		if err != nil {
			t.Fatal(err)
		}
		if l.Size()-int64(len(l.Header())) != c.samples || l.BigTIFF() != c.big {
			t.Errorf("%d x %d in: %d bytes, BigTIFF %v", c.w, c.h, l.Size(), l.BigTIFF())
		}
		_, tags, _ := tagsOf(l.Header())
		off, counts := tags[273], tags[279]
		n := off.count
		var last, lastCount int64
		if c.big {
			last = int64(binary.LittleEndian.Uint64(off.value[8*(n-1):]))
		} else {
			last = int64(binary.LittleEndian.Uint32(off.value[4*(n-1):]))
		}
		lastCount = int64(binary.LittleEndian.Uint32(counts.value[4*(n-1):]))
		if last+lastCount != l.Size() {
			t.Errorf("%d x %d in: the last strip ends at %d of %d", c.w, c.h, last+lastCount, l.Size())
		}
		// The reader takes such a file: the samples are zero here.
		r := sparse{l.Size(), map[int64][]byte{0: l.Header()}}
		f, err := Open(r, r.size)
		if err != nil {
			t.Error(err)
		} else if in := f.Info(); in.W != c.w*300 || in.BigTIFF != c.big || len(in.Warnings) > 0 {
			t.Errorf("%+v", in)
		}
	}
	// The last size that is classic, and the first that isn't.
	for _, c := range []struct {
		pad int
		big bool
	}{{0, false}, {2, true}} {
		o := Options{W: 65521, H: 65540, C: 1, Bits: 8}
		l, _ := NewLayout(o)
		o.ICC = make([]byte, math.MaxUint32-l.Size()-12-1+int64(c.pad)) // 12 bytes for the tag itself
		l, err := NewLayout(o)
		if err != nil {
			t.Fatal(err)
		}
		if l.BigTIFF() != c.big || !c.big && math.MaxUint32-l.Size() > 2 {
			t.Errorf("%d bytes, BigTIFF %v", l.Size(), l.BigTIFF())
		}
	}
}

// Pillow #4013: 300 across and 300 down, as 300/1 with the inch.
func TestOneResolutionForBothAxes(t *testing.T) {
	l, err := NewLayout(Options{W: 10, H: 10, C: 3, Bits: 16, PPI: big.NewRat(300, 1)})
	if err != nil {
		t.Fatal(err)
	}
	_, tags, _ := tagsOf(l.Header())
	for _, tag := range []uint16{282, 283} {
		if !bytes.Equal(tags[tag].value, []byte{44, 1, 0, 0, 1, 0, 0, 0}) || tags[tag].typ != 5 {
			t.Errorf("tag %d: %d", tag, tags[tag])
		}
	}
	if !bytes.Equal(tags[296].value, []byte{2, 0}) {
		t.Errorf("unit %d", tags[296].value)
	}
}

// libvips #4582: what was read from inch and centimetre files is written as
// the same physical size.
func TestResolutionIsKeptWhenWritten(t *testing.T) {
	for _, ppi := range []*big.Rat{big.NewRat(300, 1), new(big.Rat).Mul(big.NewRat(30000, 254), big.NewRat(254, 100)), big.NewRat(1499997, 5000)} {
		o := Options{W: 120, H: 180, C: 1, Bits: 8, PPI: ppi}
		f, _, err := decodeAll(file(t, o, samplesFor(o)), 1)
		if err != nil || f.Info().XPPI.Cmp(ppi) != 0 || f.Info().YPPI.Cmp(ppi) != 0 {
			t.Errorf("%s: %v", ppi.RatString(), err)
		}
	}
}

func TestStripsAreWordAlignedAndOfFixedHeight(t *testing.T) {
	for _, c := range []struct{ w, h, ch, bits, rows int }{
		{18000, 12000, 3, 16, 2}, {36000, 24000, 3, 16, 1}, {7, 5, 1, 8, 5}, {101, 9000, 1, 8, 2596}, {262145, 5, 1, 8, 2}, {99999, 9, 3, 8, 2},
	} {
		l, err := NewLayout(Options{W: c.w, H: c.h, C: c.ch, Bits: c.bits, Title: "odd", ICC: []byte("five!")})
		if err != nil {
			t.Fatal(err)
		}
		_, tags, _ := tagsOf(l.Header())
		if l.stripRows() != c.rows || binary.LittleEndian.Uint32(tags[278].value) != uint32(c.rows) {
			t.Errorf("%+v: %d rows", c, l.stripRows())
		}
		if len(l.Header())%2 == 1 {
			t.Errorf("%+v: the samples begin at byte %d", c, len(l.Header()))
		}
		off := tags[273]
		for i := range off.count {
			if binary.LittleEndian.Uint32(off.value[4*i:])%2 == 1 {
				t.Fatalf("%+v: strip %d begins at an odd byte", c, i)
			}
		}
		for tag, e := range tags {
			if e.typ == 0 {
				t.Errorf("%+v: the values of tag %d begin at an odd byte", c, tag)
			}
		}
	}
}

func TestNewLayoutRefuses(t *testing.T) {
	good := Options{W: 2, H: 2, C: 3, Bits: 16}
	for name, edit := range map[string]func(*Options){
		"pixels":     func(o *Options) { o.W = 0 },
		"sides":      func(o *Options) { o.H = codec.MaxSide + 1 },
		"4 channels": func(o *Options) { o.C = 4 },
		"12 bits":    func(o *Options) { o.Bits = 12 },
		"resolution": func(o *Options) { o.PPI = big.NewRat(1, 1<<33) },
		"exactly":    func(o *Options) { o.PPI = new(big.Rat) },
	} {
		o := good
		edit(&o)
		if _, err := NewLayout(o); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
