//go:build outside

package colour

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// The fourth printer of icc_proof.csv is the public-domain CMYK profile inside
// Debian's libvips42 8.14.1; vips writes it into a TIFF file:
//
//	apt-get install libvips-tools && go test -tags outside ./ops/colour
func TestOutsideProofOfLibvipsCMYK(t *testing.T) {
	p, err := Parse(libvipsCMYK(t))
	if err != nil {
		t.Fatal(err)
	}
	if n := checkProofs(t, map[string]*Profile{"vips_cmyk": p}); n != 180 {
		t.Errorf("%d rows checked, expected 180", n)
	}
	if got := destinationBlack(p, Relative); got < 0.01801 || got > 0.01805 {
		t.Errorf("destination black %.7f, expected 0.0180307", got)
	}
}

// libvipsCMYK has vips convert a small picture and cuts the profile out of the
// file: the bytes whose digest is known, found by their size field and
// signature.
func libvipsCMYK(t *testing.T) []byte {
	dir := t.TempDir()
	run := func(args ...string) {
		cmd := exec.Command("vips", args...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("vips %v: %v %s", args, err, out)
		}
	}
	run("black", "b.v", "4", "4", "--bands", "3")
	run("copy", "b.v", "b.tif", "--interpretation", "srgb")
	run("icc_export", "b.tif", "c.tif", "--output-profile", "cmyk", "--pcs", "lab")
	b, err := os.ReadFile(filepath.Join(dir, "c.tif"))
	if err != nil {
		t.Fatal(err)
	}
	for at := 0; ; at++ {
		i := bytes.Index(b[at:], []byte("acsp"))
		if i < 0 {
			t.Fatal("no profile in the file that vips wrote")
		}
		at += i
		start := at - 36
		size := int(b[start])<<24 | int(b[start+1])<<16 | int(b[start+2])<<8 | int(b[start+3])
		if start >= 0 && start+size <= len(b) {
			icc := b[start : start+size]
			if fmt.Sprintf("%x", sha256.Sum256(icc)) == "156e7c14f244cfc4ed83a755ca4803d80e15dd249b40fae82cb127d3902e15c7" {
				return icc
			}
		}
	}
}

// Little CMS (transicc, Debian liblcms2-utils) reads every kind of table as we
// do: colours of random codes within 0.03, and codes of colours within 0.02 %
// of full scale.
func TestOutsideKindsOfTables(t *testing.T) {
	rng := rand.New(rand.NewSource(14))
	for name, icc := range madeProfiles() {
		p, err := Parse(icc)
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "p.icc")
		if err := os.WriteFile(file, icc, 0o600); err != nil {
			t.Fatal(err)
		}
		full := 255.0
		if p.Channels() == 4 {
			full = 100
		}
		n := p.Channels()
		codes := make([]uint16, 200*n)
		var in strings.Builder
		for i := range codes {
			codes[i] = uint16(rng.Intn(65536))
			fmt.Fprintf(&in, "%.9f ", float64(codes[i])/65535*full)
			if i%n == n-1 {
				in.WriteByte('\n')
			}
		}
		for _, intent := range []Intent{Relative, Absolute} {
			to, err := NewToLab(p, intent)
			if err != nil {
				t.Fatal(err)
			}
			got := make([]Lab, 200)
			to.Row(got, codes)
			worst := 0.0
			for i, want := range transicc(t, in.String(), 3, "-i"+file, "-o*Lab4", fmt.Sprintf("-t%d", intent)) {
				d := apart(got[i], Lab{want[0], want[1], want[2]})
				worst = max(worst, d)
				if d > 0.03 {
					t.Errorf("%s %v %v: %.4f, Little CMS %.4f", name, intent, codes[i*n:i*n+n], got[i], want)
					break
				}
			}
			t.Logf("%s %v: Lab within %.4f", name, intent, worst)
		}
		if name == "input" {
			continue
		}
		from, err := NewFromLab(p, Relative)
		if err != nil {
			t.Fatal(err)
		}
		colours := make([]Lab, 200)
		in.Reset()
		for i := range colours {
			c := Lab{rng.Float64() * 100, rng.NormFloat64() * 25, rng.NormFloat64() * 25}
			for xyz := c.XYZ(); xyz[0] < 0 || xyz[2] < 0; xyz = c.XYZ() { // which codes can't say
				c.A, c.B = c.A*0.9, c.B*0.9
			}
			colours[i] = c
			fmt.Fprintf(&in, "%.9f %.9f %.9f\n", c.L, c.A, c.B)
		}
		back := make([]uint16, 200*n)
		from.Row(back, colours)
		worst := 0.0
		for i, want := range transicc(t, in.String(), n, "-i*Lab4", "-o"+file, "-t1") {
			for k, w := range want {
				// Formulas run on beyond black and full there.
				d := float64(back[i*n+k])/65535 - min(max(w/full, 0), 1)
				worst = max(worst, d, -d)
				if d > 2e-4 || d < -2e-4 {
					t.Errorf("%s %.3f: %v, Little CMS %.4f of %v", name, colours[i], back[i*n:i*n+n], want, full)
					break
				}
			}
		}
		t.Logf("%s: codes within %.6f of full scale", name, worst)
	}
}

func transicc(t *testing.T, in string, n int, args ...string) (rows [][]float64) {
	cmd := exec.Command("transicc", append([]string{"-n", "-c0"}, args...)...)
	cmd.Stdin = strings.NewReader(in)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("transicc %v: %v", args, err)
	}
	for _, line := range strings.Split(string(out), "\n") {
		f := strings.Fields(line)
		if len(f) != n {
			continue
		}
		row := make([]float64, n)
		for i := range row {
			if row[i], err = strconv.ParseFloat(f[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		rows = append(rows, row)
	}
	if len(rows) != 200 {
		t.Fatalf("transicc %v gave %d rows:\n%s", args, len(rows), out)
	}
	return rows
}
