package colour

import (
	"bytes"
	"encoding/binary"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"
)

// damageable are profiles of tables to be damaged: those made for tests, and real
// ones.
func damageable(t testing.TB) map[string][]byte {
	out := madeProfiles()
	for _, n := range []string{"FOGRA39L_coated.icc", "rgbprint_v2.icc", "rgbprint_v4.icc"} {
		b, err := os.ReadFile(profileDir + n)
		if err != nil {
			t.Fatal(err)
		}
		out[n] = b
	}
	return out
}

// use parses and, where that works, runs every way through the profile, without
// the tables of its curves, which take time.
func use(icc []byte) {
	p, err := Parse(icc)
	if err != nil {
		return
	}
	for k := range 3 {
		intent := Intent(k)
		if !p.HasTables() {
			p.matrix()
			for i := range p.Channels() {
				p.Tone(i).curve.eval(steps / 3)
			}
			return
		}
		if l, err := p.table(true, intent); err == nil && l != nil {
			f := &forward{lut: l}
			for _, v := range [][4]float64{{}, {65535, 65535, 65535, 65535}, {1, 40000, 65534, 30000}} {
				f.lab(v)
			}
			sourceBlack(p, intent)
		}
		if l, err := p.table(false, intent); err == nil && l != nil {
			b := &backward{lut: l}
			for _, c := range []Lab{{}, {100, 128, -128}, {50, 0, 0}, {-1e9, 1e300, 5}} {
				var dst [4]uint16
				v := [4]float64{c.L, c.A, c.B}
				b.at(dst[:], &v)
			}
		}
	}
}

// Cut at every byte: the file; the file with its size mended; each table's
// data with its size mended.
func TestTablesCutAtEveryByte(t *testing.T) {
	for name, icc := range damageable(t) {
		for i := range icc {
			if _, err := Parse(icc[:i]); err == nil {
				t.Fatalf("%s cut to %d bytes was accepted", name, i)
			}
		}
		for i := 132; i < len(icc); i += 1 + len(icc)/1200 {
			b := append([]byte(nil), icc[:i]...)
			binary.BigEndian.PutUint32(b, uint32(i))
			if _, err := Parse(b); err == nil && i < len(icc)-3 {
				t.Fatalf("%s cut to %d bytes, its size too, was accepted", name, i)
			}
		}
		for _, sig := range []string{"A2B0", "B2A0"} {
			if name == "input" && sig == "B2A0" {
				continue
			}
			e, off, size := tagAt(t, icc, sig)
			for n := 0; n < size; n += 1 + size/1000 {
				d := icc[off : off+n]
				l, err := tableReader{}.parse(d, int(icc[off+8]), int(icc[off+9]), sig == "A2B0", string(icc[20:24]))
				if err == nil {
					var v [4]float64
					l.eval(&v)
				}
				b := append([]byte(nil), icc...)
				binary.BigEndian.PutUint32(b[e+8:], uint32(n))
				if n%16 == 0 {
					use(b)
				}
			}
		}
	}
}

// Every byte of the headers and of the start of each part changed, and some of
// the rest: an error or a profile.
func TestDamagedTables(t *testing.T) {
	for _, icc := range madeProfiles() {
		step := 1 + len(icc)/100
		for i := range icc {
			if i > 400 && i%step != 0 {
				continue
			}
			for _, v := range []byte{0, 0x7f, 0xff, icc[i] ^ 0x10} {
				use(setAt(icc, i, string([]byte{v})))
			}
		}
	}
}

func TestRefusedTablesNameTheReason(t *testing.T) {
	made := madeProfiles()
	rgb, parts, cmyk := made["lut16 RGB "], made["mAB all"], made["lut8 CMYK"]
	_, off, size := tagAt(t, rgb, "B2A0")
	ae, aoff, _ := tagAt(t, rgb, "A2B0")
	be, _, _ := tagAt(t, rgb, "B2A0")
	we, woff, _ := tagAt(t, rgb, "wtpt")
	_, poff, _ := tagAt(t, parts, "A2B0")
	zero := append([]byte(nil), rgb...)
	clear(zero[off+52+2*3*33 : off+size-2*3*33])
	flat := append([]byte(nil), rgb...)
	_, _, asize := tagAt(t, rgb, "A2B0")
	clear(flat[aoff+52+2*3*33 : aoff+asize-2*3*33])
	for _, c := range []struct {
		name string
		icc  []byte
		want string
	}{
		{"zeroed inverse table", zero, "B2A0 doesn't bring white back: it comes out as L* 0.0"},
		{"zeroed table", flat, "A2B0 doesn't keep black, mid grey and white apart"},
		{"no way back", setAt(rgb, be, "zzzz"), "no table from colours to its device (tag B2A0)"},
		{"no way there", setAt(rgb, ae, "zzzz"), "no table from its device to colours (tag A2B0)"},
		{"no white", setAt(rgb, we, "zzzz"), "what its white looks like"},
		{"impossible white", setAt(rgb, woff+8, "\x00\x00\x00\x00"), "can't be"},
		{"connection space", setAt(rgb, 20, "Luv "), "connection space"},
		{"8-bit XYZ", setAt(made["lut8 RGB "], 20, "XYZ "), "no meaning for XYZ"},
		{"CMYK alone", makeProfile(2, "prtr", "CMYK", "Lab ", white), "it describes CMYK but has no table"},
		{"kind", setAt(rgb, aoff, "mBA "), `of the kind "mBA "`},
		{"channels", setAt(rgb, aoff+8, "\x04"), "4 channels to 3"},
		{"grid of 1", setAt(rgb, aoff+10, "\x01"), "grid has 1 points"},
		{"giant grid", setAt(rgb, aoff+10, "\xff"), "claims 49744125 numbers"},
		{"giant grid of four", setAt(cmyk, tagOffset(t, cmyk, "A2B0")+10, "\xff"), "more than the 4194304 allowed"},
		{"giant curves", setAt(rgb, aoff+48, "\xff\xff\xff\xff"), "65535 and 65535 entries"},
		{"curves of 1", setAt(rgb, aoff+48, "\x00\x01"), "1 and 33 entries"},
		{"short", setAt(rgb, aoff+48, "\x10\x00"), "counts ask for"},
		{"part outside", setAt(parts, poff+12, "\xff\xff\xff\xf0"), "said to lie at byte 4294967280"},
		{"part in the head", setAt(parts, poff+12, "\x00\x00\x00\x08"), "said to lie at byte 8"},
		{"no B curves", setAt(parts, poff+12, "\x00\x00\x00\x00"), "lacks the curves (B)"},
		{"matrix alone", setAt(parts, poff+20, "\x00\x00\x00\x00"), "not both"},
		{"table alone", setAt(parts, poff+28, "\x00\x00\x00\x00"), "not both"},
		{"looping parts", setAt(parts, poff+24, string(parts[poff+12:poff+16])), "profile refused"},
		{"giant curve", setAt(parts, poff+32+8, "\x7f\xff\xff\xff"), "its curve"},
	} {
		start := time.Now()
		if _, err := Parse(c.icc); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v (expected %q)", c.name, err, c.want)
		}
		if d := time.Since(start); d > time.Second {
			t.Errorf("%s took %v", c.name, d)
		}
	}
}

func tagOffset(t testing.TB, icc []byte, sig string) int {
	_, off, _ := tagAt(t, icc, sig)
	return off
}

// A profile without the table of the wanted intent, or its first one, is
// refused for that intent only, by name.
func TestMissingIntent(t *testing.T) {
	rgb := madeProfiles()["lut16 RGB "]
	ae, _, _ := tagAt(t, rgb, "A2B0")
	be, _, _ := tagAt(t, rgb, "B2A0")
	p, err := Parse(setAt(setAt(rgb, ae, "A2B1"), be, "B2A1"))
	if err != nil {
		t.Fatal(err)
	}
	srgb := space(t, "sRGB")
	for _, intent := range []Intent{Relative, Absolute} {
		if _, err := NewTransform(srgb, p, intent, true); err != nil {
			t.Errorf("%v: %v", intent, err)
		}
	}
	for _, intent := range []Intent{Perceptual, Saturation} {
		_, err := NewTransform(srgb, p, intent, true)
		if err == nil || !strings.Contains(err.Error(), "no table from colours to its device for the "+intent.String()+" intent") {
			t.Errorf("%v: %v", intent, err)
		}
		if _, err := NewToLab(p, intent); err == nil {
			t.Errorf("%v to Lab was accepted", intent)
		}
		if _, err := NewProof(srgb, p, intent, false); err == nil {
			t.Errorf("a proof by %v was accepted", intent)
		}
	}
	if _, err := NewTransform(srgb, p, 7, true); err == nil {
		t.Error("intent 7 was accepted")
	}
}

// Good printers bring white back within Delta E 1, black and mid grey in order.
func TestTablesComeBack(t *testing.T) {
	for name, p := range proofProfiles(t) {
		for _, intent := range []Intent{Perceptual, Relative, Saturation} {
			from, err := NewFromLab(p, intent)
			if err != nil {
				t.Fatal(err)
			}
			to, err := NewToLab(p, Relative)
			if err != nil {
				t.Fatal(err)
			}
			codes := make([]uint16, 3*p.Channels())
			from.Row(codes, []Lab{{}, {L: 50}, {L: 100}})
			var got [3]Lab
			to.Row(got[:], codes)
			if d := DeltaE2000(got[2], Lab{L: 100}); d > 1 || !(got[0].L < got[1].L && got[1].L < got[2].L) {
				t.Errorf("%s %v: %.2f", name, intent, got)
			}
		}
	}
}

// An accepted profile whose six tables are one piece of data keeps no more than
// three times the file.
func TestSharedTablesKeptOnce(t *testing.T) {
	d := tableTagData(1, 3, 3, 100, 256, 1, nil, func(x []float64) []float64 { return []float64{x[0], 0.5, 0.5} })
	tags := []madeTag{white}
	for k := range 3 {
		tags = append(tags, madeTag{tableTag(true, k), d}, madeTag{tableTag(false, k), d})
	}
	icc := makeProfile(2, "prtr", "RGB ", "Lab ", tags...)
	kept := func() (*Profile, int64) {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		p, err := Parse(icc)
		if err != nil {
			t.Fatal(err)
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
		return p, int64(after.HeapAlloc) - int64(before.HeapAlloc)
	}
	p, used := kept()
	t.Logf("%d bytes kept for a file of %d", used, len(icc))
	if used > 3*int64(len(icc))+64<<10 {
		t.Errorf("%d bytes kept for a file of %d", used, len(icc))
	}
	runtime.KeepAlive(p)
}

// A matrix that isn't the identity has a meaning only before a table that
// begins at XYZ; elsewhere it is refused, never left aside.
// Source: ICC.1:2010, 10.8 and 10.9.
func TestMatrixOfATable(t *testing.T) {
	half := []float64{0.5, 0, 0, 0, 0.5, 0, 0, 0, 0.5}
	for _, width := range []int{1, 2} {
		for _, c := range []struct {
			in      int
			forward bool
			pcs     string
			refused bool
		}{
			{3, true, "Lab ", true}, {3, false, "Lab ", true}, {3, true, "XYZ ", true}, {3, false, "XYZ ", false},
			{4, true, "Lab ", false}, // a matrix of three can't touch four inks
		} {
			if width == 1 && c.pcs == "XYZ " {
				continue // such tables don't exist
			}
			d := tableTagData(width, c.in, 3, 3, 256, 1, half, func([]float64) []float64 { return make([]float64, 3) })
			_, err := tableReader{}.parse(d, c.in, 3, c.forward, c.pcs)
			if got := err != nil && strings.Contains(err.Error(), "matrix isn't the identity"); got != c.refused {
				t.Errorf("width %d, %+v: %v", width, c, err)
			}
		}
	}
}

// The largest tables allowed, six of them different, take less than 64 MiB.
func TestGreatTablesTakeLittle(t *testing.T) {
	table := func(seed byte, in, out int) []byte {
		d := tableTagData(1, in, out, 2, 256, 1, nil, func([]float64) []float64 { return make([]float64, out) })
		n := out
		grid := map[int]int{3: 87, 4: 30}[in]
		for range in {
			n *= grid
		}
		big := append([]byte(nil), d[:48+256*in]...)
		big[10] = byte(grid)
		big = append(big, bytes.Repeat([]byte{seed}, n)...)
		return append(big, d[len(d)-256*out:]...)
	}
	tags := []madeTag{white}
	for k := range 3 {
		tags = append(tags, madeTag{tableTag(true, k), table(byte(k), 4, 3)}, madeTag{tableTag(false, k), table(byte(k), 3, 4)})
	}
	icc := makeProfile(2, "prtr", "CMYK", "Lab ", tags...)
	if len(icc) < maxProfile*9/10 || len(icc) > maxProfile {
		t.Fatalf("%d bytes", len(icc))
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if _, err := Parse(icc); err == nil {
		t.Fatal("accepted")
	}
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 64<<20 {
		t.Errorf("%d MiB", used>>20)
	} else {
		t.Logf("%d MiB for a file of %d", used>>20, len(icc)>>20)
	}
}
