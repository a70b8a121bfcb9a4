package colour

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand"
	"slices"
	"strconv"
	"testing"
)

// codesOf are n channels of corners: 0, 1, 9000, 32768, 65534, 65535 in all
// combinations.
func codesOf(n int) (out []uint16) {
	v := [6]uint16{0, 1, 9000, 32768, 65534, 65535}
	total := 1
	for range n {
		total *= len(v)
	}
	for i := range total {
		for range n {
			out = append(out, v[i%len(v)])
			i /= len(v)
		}
	}
	return out
}

// What conversions through tables give is frozen, for every intent, with
// compensation and without, and so are Lab's and the differences' bits.
func TestFrozenTransforms(t *testing.T) {
	printers := proofProfiles(t)
	want := map[string]string{
		"rgbprint_v2":    "71db2efba089b1bebd41b8783b0f216a4d805244459ebf2db8355414ea500fad",
		"rgbprint_v4":    "75b7eccb9ec3b6e2d19e62feacc5b5afd527eca017edc5032223c0ce435577cc",
		"fogra39_coated": "1dc24689c0d94609e90de84b79e66fe86a66744a1eb9f9b5ecfd5920fdfbd9bf",
	}
	for name, paper := range printers {
		h := sha256.New()
		for _, from := range []string{"opRGB", "ROMM-RGB", "grey-2.2"} {
			src := space(t, from)
			codes := codesOf(src.Channels())
			n := len(codes) / src.Channels()
			for k := range 8 {
				there, err := NewTransform(src, paper, Intent(k/2), k%2 == 1)
				if err != nil {
					t.Fatal(err)
				}
				printed := make([]uint16, n*paper.Channels())
				there.Row(printed, codes)
				back, err := NewTransform(paper, src, Intent(k/2), k%2 == 1)
				if err != nil {
					t.Fatal(err)
				}
				again := make([]uint16, len(codes))
				back.Row(again, printed)
				binary.Write(h, binary.LittleEndian, printed)
				binary.Write(h, binary.LittleEndian, again)
				var lab [2][]Lab
				for i, p := range []*Profile{src, paper} {
					to, err := NewToLab(p, Intent(k/2))
					if err != nil {
						t.Fatal(err)
					}
					lab[i] = make([]Lab, n)
					to.Row(lab[i], [][]uint16{codes, printed}[i])
					binary.Write(h, binary.LittleEndian, lab[i])
				}
				for i := range n {
					binary.Write(h, binary.LittleEndian, DeltaE2000(lab[0][i], lab[1][i]))
				}
			}
		}
		if got := fmt.Sprintf("%x", h.Sum(nil)); got != want[name] {
			t.Errorf("%q: %q, frozen %q", name, got, want[name])
		}
	}
}

// Between version 4 profiles of colorants and curves, Little CMS's 16-bit
// results (icc_transforms.csv, lcms16_*) lie within 2 of 65535, whatever the
// intent and compensation.
func TestTransformsNearLittleCMS(t *testing.T) {
	profiles := map[string]*Profile{
		"sRGB_v4":  load(t, profileDir+"srgb_v4.icc"),
		"opRGB_v4": load(t, profileDir+"oprgb_v4.icc"),
		"ROMM_v4":  load(t, profileDir+"romm_v4.icc"),
	}
	rows := 0
	for _, row := range readCSV(t, "icc_transforms.csv") {
		src, dst := profiles[row[0]], profiles[row[1]]
		if src == nil || dst == nil || row[2] != "relative" {
			continue
		}
		rows++
		var in, out [3]uint16
		for i := range in {
			v, err := strconv.ParseUint(row[3+i], 10, 16)
			if err != nil {
				t.Fatal(err)
			}
			in[i] = uint16(v)
		}
		for k := range 8 {
			tr, err := NewTransform(src, dst, Intent(k/2), k%2 == 1)
			if err != nil {
				t.Fatal(err)
			}
			tr.Row(out[:], in[:])
			for i := range out {
				if d := float64(out[i]) - num(t, row[6+i]); math.Abs(d) > 2 {
					t.Errorf("%s to %s by %v, %v: %v, Little CMS %v", row[0], row[1], Intent(k/2), in, out, row[6:9])
				}
			}
		}
	}
	if rows != 360 {
		t.Errorf("%d rows checked", rows)
	}
}

// Colorants and curves by the way of tables give what Link gives, within a
// code, and greys of equal codes stay so: the two ways are one meaning.
func TestConnectionEqualsLink(t *testing.T) {
	rng := rand.New(rand.NewSource(15))
	for _, from := range []string{"opRGB", "ROMM-RGB", "grey-2.2"} {
		src, dst := space(t, from), space(t, "sRGB")
		f, _ := newForward(src, Relative)
		b, _ := newBackward(dst, Relative)
		tr := &Transform{in: src.channels, out: 3, fwd: f, back: b, scaling: scaling{scale: [3]float64{1, 1, 1}, plain: true}}
		link := NewLink(src, dst)
		for i := range 20000 {
			in := make([]uint16, src.channels)
			for k := range in {
				in[k] = uint16(rng.Intn(65536))
				if i%2 == 0 {
					in[k] = in[0]
				}
			}
			var x, y [3]uint16
			tr.Row(x[:], in)
			link.Row(y[:], in)
			for k := range x {
				if !withinOne(nil, x[k], y[k]) || i%2 == 0 && x[k] != x[0] {
					t.Fatalf("%s %v: %v and %v", from, in, x, y)
				}
			}
		}
	}
}

// Compensation sends black to the paper's black and leaves white, and a darker
// grey never comes out lighter.
func TestCompensationKeepsShadowsApart(t *testing.T) {
	src := space(t, "opRGB")
	for name, paper := range proofProfiles(t) {
		p, err := NewProof(src, paper, Relative, true)
		if err != nil {
			t.Fatal(err)
		}
		last := -1.0
		distinct := 0
		for c := 0; c < 65536; c += 257 {
			printed := make([]uint16, p.Inks())
			var shown [1]Lab
			p.Print(printed, []uint16{uint16(c), uint16(c), uint16(c)})
			p.Relative(shown[:], printed)
			if shown[0].L < last-0.15 {
				t.Errorf("%s: grey %d is darker (%.3f) than the one before (%.3f)", name, c, shown[0].L, last)
			}
			if shown[0].L > last+0.01 {
				distinct++
			}
			last = max(last, shown[0].L)
		}
		if distinct < 240 || last < 99.9 {
			t.Errorf("%s: %d of 256 greys apart, white %.3f", name, distinct, last)
		}
	}
}

func BenchmarkTransformToPrinter(b *testing.B) {
	src, dst := space(b, "opRGB"), load(b, profileDir+"rgbprint_v2.icc")
	tr, err := NewTransform(src, dst, Relative, true)
	if err != nil {
		b.Fatal(err)
	}
	in, out := make([]uint16, 3*6000), make([]uint16, 3*6000)
	rng := rand.New(rand.NewSource(3))
	v := [3]float64{20000, 25000, 30000}
	for i := range in { // a smooth picture with grain
		v[i%3] = math.Min(math.Max(v[i%3]+rng.NormFloat64()*400, 0), 65535)
		in[i] = uint16(v[i%3])
	}
	for b.Loop() {
		tr.Row(out, in)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/6000*24e-3, "s/24MP")
}

// Equal codes of a space are neutral, and a neutral colour has equal codes, to the
// bit: nothing hangs on the noise of sums.
func TestNeutralsAreExact(t *testing.T) {
	for _, name := range SpaceNames() {
		p := space(t, name)
		there, err := NewToLab(p, Relative)
		if err != nil {
			t.Fatal(err)
		}
		back, err := NewFromLab(p, Relative)
		if err != nil {
			t.Fatal(err)
		}
		for c := 0; c < 65536; c += 37 {
			codes := slices.Repeat([]uint16{uint16(c)}, p.channels)
			lab := there.at(codes)
			if lab.A != 0 || lab.B != 0 {
				t.Fatalf("%s: %d is %v", name, c, lab)
			}
			back.Row(codes, []Lab{lab})
			if slices.Min(codes) != slices.Max(codes) {
				t.Fatalf("%s: %v comes back as %d", name, lab, codes)
			}
		}
	}
}
