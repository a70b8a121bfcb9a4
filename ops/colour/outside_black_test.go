//go:build outside

package colour

import (
	"fmt"
	"math"
	"math/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Little CMS (transicc, Debian liblcms2-utils) brings black to black between
// profiles of curves as we do, within 2 of 65535.
func TestOutsideCompensationBetweenCurves(t *testing.T) {
	rng := rand.New(rand.NewSource(18))
	profiles := []*Profile{
		space(t, "sRGB"), space(t, "ROMM-RGB"), space(t, "grey-2.2"),
		liftedProfile(t, "RGB ", "9/10"), liftedProfile(t, "RGB ", "3/4"), liftedProfile(t, "GRAY", "19/20"),
	}
	files := make([]string, len(profiles))
	for i, p := range profiles {
		files[i] = filepath.Join(t.TempDir(), fmt.Sprint(i, ".icc"))
		if err := os.WriteFile(files[i], p.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	worst := 0.0
	for i, src := range profiles {
		n := src.Channels()
		codes := make([]uint16, 200*n)
		var in strings.Builder
		for k := range codes {
			if codes[k] = uint16(rng.Intn(65536)); k < 60*n { // shadows, and black itself
				codes[k] = uint16(rng.Intn(1 + k*k))
			}
			fmt.Fprintf(&in, "%.9f ", float64(codes[k])/65535*255)
			if k%n == n-1 {
				in.WriteByte('\n')
			}
		}
		for j, dst := range profiles {
			if i == j {
				continue
			}
			for _, intent := range []Intent{Perceptual, Relative, Saturation} {
				tr, err := NewTransform(src, dst, intent, true)
				if err != nil {
					t.Fatal(err)
				}
				m := dst.Channels()
				got := make([]uint16, 200*m)
				tr.Row(got, codes)
				for r, row := range transicc(t, in.String(), m, "-i"+files[i], "-o"+files[j], fmt.Sprintf("-t%d", intent), "-b") {
					for k, w := range row {
						d := math.Abs(float64(got[r*m+k]) - min(max(w/255*65535, 0), 65535))
						if worst = max(worst, d); d > 2 {
							t.Errorf("%q to %q, %s, %d: %d, Little CMS %.2f", src.Description(), dst.Description(), intent, codes[r*n:r*n+n], got[r*m:r*m+m], w/255*65535)
							break
						}
					}
				}
			}
		}
	}
	t.Logf("within %.2f of 65535", worst)
}
