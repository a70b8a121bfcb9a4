package colour

import (
	"encoding/binary"
	"math/rand"
	"runtime"
	"strings"
	"testing"
	"time"
)

// tagAt returns where the tag table has sig, and its data's place.
func tagAt(t testing.TB, icc []byte, sig string) (entry, off, size int) {
	t.Helper()
	for i := range int(binary.BigEndian.Uint32(icc[128:])) {
		e := 132 + 12*i
		if string(icc[e:e+4]) == sig {
			return e, int(binary.BigEndian.Uint32(icc[e+4:])), int(binary.BigEndian.Uint32(icc[e+8:]))
		}
	}
	t.Fatalf("no tag %s", sig)
	return
}

// withTag is icc with sig's data replaced: appended, and the entry redirected.
func withTag(t testing.TB, icc []byte, sig string, data []byte) []byte {
	t.Helper()
	out := append([]byte(nil), icc...)
	e, _, _ := tagAt(t, out, sig)
	binary.BigEndian.PutUint32(out[e+4:], uint32(len(out)))
	binary.BigEndian.PutUint32(out[e+8:], uint32(len(data)))
	out = append(out, data...)
	binary.BigEndian.PutUint32(out, uint32(len(out)))
	return out
}

func curvTag(entries ...uint16) []byte {
	d := append([]byte("curv"), 0, 0, 0, 0)
	d = binary.BigEndian.AppendUint32(d, uint32(len(entries)))
	for _, v := range entries {
		d = binary.BigEndian.AppendUint16(d, v)
	}
	return d
}

func setAt(icc []byte, at int, s string) []byte {
	out := append([]byte(nil), icc...)
	copy(out[at:], s)
	return out
}

func TestRefusalsNameTheReason(t *testing.T) {
	rgb, grey := space(t, "sRGB").Bytes(), space(t, "grey-2.2").Bytes()
	e, off, _ := tagAt(t, rgb, "rXYZ")
	_, goff, _ := tagAt(t, rgb, "gXYZ")
	ce, _, _ := tagAt(t, rgb, "cprt")
	para := func(kind uint16, p ...string) []byte { return paraTag(kind, p) }
	cases := []struct {
		name string
		icc  []byte
		want string
	}{
		{"empty", nil, "too few"},
		{"no signature", setAt(rgb, 36, "xxxx"), "signature"},
		{"size too large", setAt(rgb, 0, "\x00\x10\x00\x00"), "cut short"},
		{"trailing", append(append([]byte(nil), rgb...), "tail"...), "the rest means nothing"},
		{"version 5", setAt(rgb, 8, "\x05"), "version 5"},
		{"giant tag count", setAt(rgb, 128, "\xff\xff\xff\xff"), "claims 4294967295 tags"},
		{"table past the end", setAt(rgb, 128, "\x00\x00\x00\x60"), "runs past its end"},
		{"tag outside", setAt(rgb, e+4, "\xff\xff\xff\xf0"), "outside"},
		{"tag size outside", setAt(rgb, e+8, "\xff\xff\xff\xff"), "outside"},
		{"tag in the header", setAt(rgb, e+4, "\x00\x00\x00\x00"), "outside"},
		{"tag twice", setAt(rgb, ce, "desc"), "twice"},
		{"overlap", setAt(rgb, e+8, "\x00\x00\x00\x20"), "overlap"},
		{"a text over white", setAt(rgb, ce+8, "\x00\x00\x00\x60"), "overlap"},
		{"device link", setAt(rgb, 12, "link"), "device link"},
		{"unknown class", setAt(rgb, 12, "\x00\xffab"), `class "\x00\xffab"`},
		{"CMYK", setAt(rgb, 16, "CMYK"), "it describes CMYK"},
		{"Lab device", setAt(rgb, 16, "Lab "), "it describes Lab"},
		{"six inks", setAt(rgb, 16, "6CLR"), `"6CLR"`},
		{"Lab connection", setAt(rgb, 20, "Lab "), "connection space"},
		{"table profile", setAt(rgb, ce, "A2B0"), "its table A2B0 can't be used"},
		{"no colorant", setAt(rgb, e, "zXYZ"), "no red colorant"},
		{"colorant kind", setAt(rgb, off, "text"), "isn't an XYZ number"},
		{"no grey curve", setAt(grey, 12+132+24, "zTRC"), "no grey curve"},
		{"curve kind", withTag(t, rgb, "gTRC", setAt(curvTag(0, 9), 0, "text")), `kind "text"`},
		{"curve short", withTag(t, rgb, "gTRC", []byte("curv")), "too few"},
		{"giant curve", withTag(t, rgb, "gTRC", setAt(curvTag(0, 9), 8, "\x7f\xff\xff\xff")), "claims 2147483647 entries"},
		{"para type", withTag(t, rgb, "gTRC", para(5, "1")), "parametric type 5"},
		{"para short", withTag(t, rgb, "gTRC", para(4, "1", "1")), "cut short"},
		{"falling table", withTag(t, rgb, "gTRC", curvTag(65535, 30000, 0)), "green channel (tag gTRC): its curve falls"},
		{"zero table", withTag(t, rgb, "rTRC", curvTag(0, 0, 0, 0)), "constant"},
		{"step table", withTag(t, rgb, "rTRC", curvTag(0, 0, 0, 0, 65535)), "apart"},
		{"gamma 0", withTag(t, rgb, "rTRC", curvTag(0)), "exponent 0.00000"},
		{"negative gamma", withTag(t, rgb, "rTRC", para(0, "-2")), "exponent -2.00000"},
		{"huge gamma", withTag(t, rgb, "rTRC", para(0, "32767")), "apart"},
		{"negative factor", withTag(t, rgb, "rTRC", para(1, "2", "-1", "1")), "factor a"},
		{"falling line", withTag(t, rgb, "rTRC", para(3, "2", "1", "0", "-1", "1/2")), "falls near black"},
		{"falling joint", withTag(t, rgb, "rTRC", para(3, "2", "1", "0", "1", "1/2")), "where its two parts meet"},
		{"jumping joint", withTag(t, rgb, "rTRC", para(3, "2", "3/2", "0", "1/16", "3/4")), "its curve jumps from 0.046875 to 1.000000 at x = 0.75000"}, // (9/8)^2 is above 1
		{"negative power", withTag(t, rgb, "rTRC", para(3, "2", "1", "-1", "1", "1/2")), "power of a negative number"},
		{"flat colorants", setAt(rgb, goff, string(rgb[off:off+20])), "one plane"},
		{"D65 colorants", withTag(t, withTag(t, withTag(t, rgb, "rXYZ", fixedTag("XYZ ", 27026, 13935, 1267)), "gXYZ", fixedTag("XYZ ", 23435, 46869, 7811)), "bXYZ", fixedTag("XYZ ", 11828, 4731, 62294)), "its white is X 0.95"},
		{"dim grey", withTag(t, grey, "kTRC", curvTag(0, 30000)), "its white gives only 0.458"},
		{"bright black", withTag(t, withTag(t, withTag(t, rgb, "rTRC", curvTag(30000, 65535)), "gTRC", curvTag(30000, 65535)), "bTRC", curvTag(30000, 65535)), "apart"},
	}
	for _, c := range cases {
		p, err := Parse(c.icc)
		if err == nil {
			t.Errorf("%s: accepted as %q", c.name, p.Description())
		} else if !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "profile refused: ") {
			t.Errorf("%s: %v (expected %q)", c.name, err, c.want)
		}
	}
}

// Texts that overlap are no reason to refuse a profile: colours don't hang on
// them. A note names them.
func TestTextsThatOverlapAreNoted(t *testing.T) {
	rgb := space(t, "sRGB").Bytes()
	de, _, _ := tagAt(t, rgb, "desc")
	p, err := Parse(setAt(rgb, de+8, "\x00\x00\x00\x60"))
	if err != nil || !strings.Contains(p.Note(), `"desc" and "cprt"`) || p.Description() != space(t, "sRGB").Description() {
		t.Fatalf("%v, %q", err, p.Note())
	}
	if space(t, "sRGB").Note() != "" {
		t.Error("a whole profile has a note")
	}
}

func TestAcceptedForms(t *testing.T) {
	rgb, grey := space(t, "sRGB").Bytes(), space(t, "grey-2.2").Bytes()
	v2 := setAt(setAt(rgb, 8, "\x02\x40"), 12, "prtr")
	desc := append([]byte("desc\x00\x00\x00\x00\x00\x00\x00\x06Plain\x00"), make([]byte, 78)...)
	for n, icc := range map[string][]byte{
		"v2 output":  withTag(t, v2, "desc", desc),
		"input":      setAt(rgb, 12, "scnr"),
		"space":      setAt(rgb, 12, "spac"),
		"padded":     append(append([]byte(nil), rgb...), 0, 0),
		"one curve":  withTag(t, rgb, "gTRC", curvTag(0x0233)),
		"grey table": withTag(t, grey, "kTRC", curvTag(0, 9000, 65535)),
		"grey input": setAt(grey, 12, "scnr"),
	} {
		p, err := Parse(icc)
		if err != nil {
			t.Errorf("%s: %v", n, err)
			continue
		}
		if n == "v2 output" && p.Description() != "Plain" {
			t.Errorf("description %q", p.Description())
		}
		if n == "one curve" && (p.Tone(0) == p.Tone(1) || p.Tone(0) != p.Tone(2) || p.Tone(1).Encode64(0.5) != space(t, "opRGB").Tone(0).Encode64(0.5)) {
			t.Error("curves mixed up")
		}
	}
}

// A good profile brings white back within 1 of 65535, mid grey and black in
// order; a bad one is refused within a second, see above.
func TestGoodProfileComesBack(t *testing.T) {
	for _, n := range SpaceNames() {
		for _, m := range SpaceNames() {
			a, b := space(t, n), space(t, m)
			last := -1
			for _, v := range []uint16{0, 32768, 65535} {
				in, mid, out := make([]uint16, a.Channels()), make([]uint16, b.Channels()), make([]uint16, a.Channels())
				for i := range in {
					in[i] = v
				}
				NewLink(a, b).Row(mid, in)
				NewLink(b, a).Row(out, mid)
				for _, w := range out {
					if d := int(w) - int(v); d > 1 || d < -1 || int(w) <= last {
						t.Errorf("%s to %s: %d comes back as %d", n, m, v, w)
					}
				}
				last = int(out[0])
			}
		}
	}
}

// Cut at every byte, and every byte changed: an error or a profile, quickly.
func TestDamagedProfiles(t *testing.T) {
	rng := rand.New(rand.NewSource(7))
	for _, n := range []string{"sRGB", "grey-2.2"} {
		icc := space(t, n).Bytes()
		for i := range icc {
			if _, err := Parse(icc[:i]); err == nil {
				t.Errorf("%s cut to %d bytes was accepted", n, i)
			}
			for _, v := range []byte{0, 1, 0x7f, 0x80, 0xff, byte(rng.Intn(256))} {
				use(setAt(icc, i, string([]byte{v})))
			}
		}
	}
}

func TestHostileCountsTakeLittle(t *testing.T) {
	rgb := space(t, "sRGB").Bytes()
	big := withTag(t, rgb, "rTRC", setAt(curvTag(0, 9), 8, "\xff\xff\xff\xff"))
	var before, after runtime.MemStats
	start := time.Now()
	runtime.ReadMemStats(&before)
	for range 100 {
		if _, err := Parse(big); err == nil {
			t.Fatal("accepted")
		}
	}
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 100*64<<10 {
		t.Errorf("%d bytes a parse", used/100)
	}
	if d := time.Since(start); d > time.Second {
		t.Errorf("100 parses took %v", d)
	}
}

func FuzzParse(f *testing.F) {
	for _, n := range SpaceNames() {
		f.Add(space(f, n).Bytes())
	}
	rgb := space(f, "sRGB").Bytes()
	f.Add(withTag(f, rgb, "gTRC", curvTag(0, 0, 30000, 65535)))
	f.Add(withTag(f, rgb, "rTRC", curvTag(0x0233)))
	f.Add(withTag(f, rgb, "rTRC", paraTag(4, []string{"12/5", "1", "0", "1/16", "1/32", "0", "0"})))
	f.Add(withTag(f, rgb, "rTRC", paraTag(3, []string{"9/5", "3/2", "0", "1/16", "57088/65536"}))) // jumps
	f.Add(withTag(f, rgb, "rTRC", paraTag(1, []string{"2", "11/10", "-1/10"})))
	for _, icc := range damageable(f) {
		if len(icc) < 130000 {
			f.Add(icc)
		}
	}
	built := 0
	f.Fuzz(func(t *testing.T, icc []byte) {
		p, err := Parse(icc)
		if err != nil {
			return
		}
		use(icc)
		if p.Channels() == 4 {
			return
		}
		l := p.Luma()
		if s := l[0] + l[1] + l[2]; !(s > 0.999 && s < 1.001) {
			t.Errorf("luma %v", l)
		}
		for i := range p.Channels() {
			c := &p.Tone(i).curve
			top := 0.0
			for j := 0; j <= steps; j += 1001 {
				y := c.eval(j).Hi
				if !(y >= 0 && y <= 1) || y < top-2*tolerance {
					t.Fatalf("curve %+v at %d: %v after %v", *c, j, y, top)
				}
				top = max(top, y)
			}
		}
		if built++; built%20 != 0 { // tables cost 20 ms
			return
		}
		back, out, white := make([]uint16, p.Channels()), make([]uint16, 3), uint16(0)
		for k := range 4 {
			to, err := NewTransform(space(t, "opRGB"), p, Intent(k), true)
			if err != nil {
				continue
			}
			to.Row(back, []uint16{65535, 65535, 65535})
			if from, err := NewTransform(p, space(t, "opRGB"), Intent(k), true); err == nil {
				from.Row(out, back)
			}
			if Intent(k) == Relative { // absolute may state any white
				white = out[1]
			}
		}
		// A table may rise from black to white within one code; white that the
		// colorants don't quite reach then comes back as black.
		steep := false
		for i := range p.Channels() {
			d := p.Tone(i).Decode64()
			for k := range d[1:] {
				steep = steep || d[k+1]-d[k] > 1.0/64
			}
		}
		if !p.HasTables() && !steep && white < 50000 {
			t.Errorf("the green of white comes back as %d", white)
		}
	})
}
