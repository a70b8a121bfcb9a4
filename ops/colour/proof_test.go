package colour

import (
	"math"
	"strconv"
	"testing"
)

const profileDir = "../../testdata/standards/profiles/"

// proofProfiles are the printers of icc_proof.csv that the repository holds.
func proofProfiles(t testing.TB) map[string]*Profile {
	return map[string]*Profile{
		"rgbprint_v2":    load(t, profileDir+"rgbprint_v2.icc"),
		"rgbprint_v4":    load(t, profileDir+"rgbprint_v4.icc"),
		"fogra39_coated": load(t, profileDir+"FOGRA39L_coated.icc"),
	}
}

func labAt(t testing.TB, row []string, col int) Lab {
	return Lab{num(t, row[col]), num(t, row[col+1]), num(t, row[col+2])}
}

// apart is the largest difference in one of the three numbers.
func apart(a, b Lab) float64 {
	return max(math.Abs(a.L-b.L), math.Abs(a.A-b.A), math.Abs(a.B-b.B))
}

// checkProofs compares proofs with icc_proof.csv (Little CMS 2.14 in double
// precision, itself within 0.006 of an independent reader of the tables): each
// colour within 0.05, each relative and paper-white, and the verdict of the
// plain rule of Delta E*ab above 5.
func checkProofs(t *testing.T, printers map[string]*Profile) (rows int) {
	t.Helper()
	src := load(t, profileDir+"oprgb_v4.icc")
	verdicts := map[Verdict]int{}
	worst := map[string]float64{}
	for _, row := range readCSV(t, "icc_proof.csv") {
		paper := printers[row[0]]
		if paper == nil {
			continue
		}
		rows++
		intent, bpc := Relative, row[1] == "relative_bpc"
		if row[1] == "perceptual" {
			intent = Perceptual
		}
		p, err := NewProof(src, paper, intent, bpc)
		if err != nil {
			t.Fatal(err)
		}
		var in [3]uint16
		for i := range in {
			v, err := strconv.ParseUint(row[2+i], 10, 16)
			if err != nil {
				t.Fatal(err)
			}
			in[i] = uint16(v)
		}
		printed := make([]uint16, p.Inks())
		var meant, shown, bare [1]Lab
		p.Meant(meant[:], in[:])
		p.Print(printed, in[:])
		p.Relative(shown[:], printed)
		p.Paper(bare[:], printed)
		name := row[0] + " " + row[1]
		for _, c := range []struct {
			what      string
			got, want Lab
		}{{"source", meant[0], labAt(t, row, 5)}, {"proof", shown[0], labAt(t, row, 16)}, {"paper", bare[0], labAt(t, row, 19)}} {
			d := apart(c.got, c.want)
			worst[name+" "+c.what] = max(worst[name+" "+c.what], d)
			if d > 0.05 {
				t.Errorf("%s %v %s: %.4f, expected %.4f", name, in, c.what, c.got, c.want)
			}
		}
		if d := math.Abs(DeltaE2000(meant[0], shown[0]) - num(t, row[22])); d > 0.05 {
			t.Errorf("%s %v: CIEDE2000 off by %.4f", name, in, d)
		}
		if row[1] == "relative" {
			var out [1]Verdict
			p.Outside(out[:], in[:])
			// The kind by the file's own colours.
			want, src, back := Within, labAt(t, row, 5), labAt(t, row, 16)
			if row[24] == "out" {
				if want = TooColourful; back.L-src.L > math.Hypot(back.A-src.A, back.B-src.B) {
					want = TooDark
				}
			}
			verdicts[want]++
			if out[0] != want {
				t.Errorf("%s %v: outside is %v, expected %v (Delta E %.4f)", row[0], in, out[0], want, DeltaE76(meant[0], shown[0]))
			}
		}
	}
	if verdicts[Within] == 0 || verdicts[TooDark] == 0 || verdicts[TooColourful] == 0 {
		t.Errorf("verdicts %v: one kind is in no row", verdicts)
	}
	for n, d := range worst {
		t.Logf("%s: at most %.4f", n, d)
	}
	return rows
}

func TestProofsOfPrinters(t *testing.T) {
	if n := checkProofs(t, proofProfiles(t)); n != 3*3*60 {
		t.Errorf("%d rows checked, expected 540", n)
	}
}

// Destination black points as icc_proof.csv's header gives them (Little CMS
// 2.14), luminance.
func TestDestinationBlackPoints(t *testing.T) {
	p := proofProfiles(t)
	for _, c := range []struct {
		name   string
		intent Intent
		want   float64
	}{
		{"rgbprint_v2", Relative, 0.0432797}, {"rgbprint_v2", Perceptual, 0},
		{"rgbprint_v4", Relative, 0.0432794}, {"rgbprint_v4", Perceptual, 0.0034731},
		{"fogra39_coated", Relative, 0.0106871}, {"fogra39_coated", Perceptual, 0.0128195},
	} {
		if got := destinationBlack(p[c.name], c.intent); math.Abs(got-c.want) > 2e-5 {
			t.Errorf("%s %v: %.7f, expected %.7f", c.name, c.intent, got, c.want)
		}
	}
}

// Measured patches: what the profiles predict with the paper's own white
// (fogra39_patches.csv), within 0.05 of Little CMS, and within 0.5 CIEDE2000 of
// the measurement, which no colour engine had a hand in.
func TestMeasuredPatches(t *testing.T) {
	printers, seen := proofProfiles(t), 0
	for _, row := range readCSV(t, "fogra39_patches.csv") {
		if row[0] == "patch" {
			continue
		}
		var ink [4]float64
		for i := range ink {
			ink[i] = num(t, row[1+i])
		}
		measured := labAt(t, row, 8)
		xyz := LabFromXYZ([3]float64{num(t, row[5]) / 100, num(t, row[6]) / 100, num(t, row[7]) / 100})
		if d := apart(xyz, measured); d > 0.12 { // XYZ has two decimals
			t.Errorf("%s: XYZ gives %.3f, Lab column %.3f", row[0], xyz, measured)
		}
		for k, name := range []string{"rgbprint_v2", "rgbprint_v4", "fogra39_coated"} {
			if row[11+4*k] == "" {
				continue
			}
			seen++
			p := printers[name]
			var codes [4]float64
			for i := range p.Channels() {
				codes[i] = ink[i] / 100 * 65535
				if p.Channels() == 3 {
					codes[i] = 65535 - codes[i]
				}
			}
			var src [4]uint16
			for i := range src {
				src[i] = uint16(codes[i] + 0.5)
			}
			to, err := NewToLab(p, Absolute)
			if err != nil {
				t.Fatal(err)
			}
			var got [1]Lab
			to.Row(got[:], src[:p.Channels()])
			if d := apart(got[0], labAt(t, row, 11+4*k)); d > 0.05 {
				t.Errorf("%s %s: %.4f, expected %.4f", name, row[0], got[0], labAt(t, row, 11+4*k))
			}
			de := DeltaE2000(got[0], measured)
			if want := num(t, row[14+4*k]); math.Abs(de-want) > 0.02 || de > 0.5 {
				t.Errorf("%s %s: %.4f from the measurement, expected %.4f", name, row[0], de, want)
			}
		}
	}
	if seen < 60 {
		t.Errorf("%d patches checked", seen)
	}
}
