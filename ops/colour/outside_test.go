//go:build outside

package colour

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

// The v2 rows of icc_transforms.csv, whose profiles are in Debian's package
// argyll-ref (public domain; table curves of 1024 to 4096 entries, and gamma):
//
//	apt-get install argyll-ref && go test -tags outside ./ops/colour
func TestOutsideTransformsOfDebianProfiles(t *testing.T) {
	want := map[string]string{
		"12a3bb4cbc91c48d1267aaa3342fa35e16aa862969dc93ec034b9b6e3c338ba5": "sRGB",
		"6646dfa39a0231054982af1da57b23038af9171b9008de0682bc9833f4c9718b": "opRGB",
		"45150dedf2140a39e86f134515849e7bffcac33f1b65729ff00aa2aba9519ddc": "ROMM",
		"d9098081347d9e7c17b5fdde9cec7e1c0b6b876263ff1f37f2fd289fa010739f": "DisplayP3",
	}
	files, _ := filepath.Glob("/usr/share/color/argyll/ref/*.ic[cm]")
	profiles := map[string]*Profile{}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if n, ok := want[fmt.Sprintf("%x", sha256.Sum256(b))]; ok {
			profiles[n] = load(t, f)
			continue
		}
		p, err := Parse(b) // the rest: read or refused, no more
		t.Logf("%s: %v %v", filepath.Base(f), p != nil, err)
	}
	if len(profiles) != 4 {
		t.Fatalf("%d of the 4 profiles found; install the Debian package argyll-ref", len(profiles))
	}
	if n := checkTransforms(t, profiles, withinOne); n != 12*60 {
		t.Errorf("%d rows checked, expected 720", n)
	}
}
