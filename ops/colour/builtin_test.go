package colour

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"
)

// readCSV reads a file of published check values.
func readCSV(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := os.Open("../../testdata/standards/" + name)
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
	return rows
}

func num(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func space(t testing.TB, name string) *Profile {
	t.Helper()
	p, ok := Space(name)
	if !ok {
		t.Fatalf("no space %s", name)
	}
	return p
}

// csvSpaces maps the names in the check files to ours.
var csvSpaces = map[string]string{"sRGB": "sRGB", "opRGB": "opRGB", "ROMM": "ROMM-RGB", "DisplayP3": "Display-P3"}

// The profiles' bytes are frozen: pictures, logs and print files name them.
func TestBuiltinBytesAreFrozen(t *testing.T) {
	want := map[string]string{
		"sRGB":       "12f81f2f889f1dca6b7235b9aea7c88ea92bf702194e2bc2b04b7ae957f1d6db",
		"opRGB":      "c0de16ffaf73977a8a65bda8eca3ffcd475129d2c5e0ca3634a31a46abcf8adc",
		"ROMM-RGB":   "c8c88219cfc0f7dd564a0a331c5020120c3eed9aa4df96a4bada0c32409a17c3",
		"Display-P3": "3eceb3be23d2d26a2b856bad6c99fa5c6a68a94344afefebc728fe412cf85689",
		"grey-2.2":   "2731585dbae7405da73b222d78e4dc1c7d21656aee29e4771fdf3f4f908a29f9",
	}
	if len(SpaceNames()) != len(want) {
		t.Errorf("%d spaces, expected %d", len(SpaceNames()), len(want))
	}
	for _, n := range SpaceNames() {
		p := space(t, n)
		if got := p.Digest().String(); got != want[n] || sha256.Sum256(p.Bytes()) != p.Digest() {
			t.Errorf("%s: digest %s, frozen %s", n, got, want[n])
		}
		if p.Description() == "" {
			t.Errorf("%s has no description", n)
		}
	}
	if _, ok := Space("srgb"); ok {
		t.Error("Space took a name in the wrong case")
	}
	b := space(t, "sRGB").Bytes()
	b[0]++
	if bytes.Equal(b, space(t, "sRGB").Bytes()) {
		t.Error("Bytes hands out the profile's own memory")
	}
}

// Colorants equal the published primaries adapted to D50 within one count of a
// profile's fixed-point numbers (rgb_spaces.csv, M_D50_bradford), and add up to
// D50 exactly.
func TestBuiltinColorants(t *testing.T) {
	seen := 0
	for _, row := range readCSV(t, "rgb_spaces.csv") {
		if row[1] != "M_D50_bradford" {
			continue
		}
		seen++
		p := space(t, csvSpaces[row[0]])
		for i := range 9 {
			got, want := float64(p.colorant[i%3][i/3])/65536, num(t, row[2+i])
			if math.Abs(got-want) > 1.0/65536 {
				t.Errorf("%s entry %d: %v, published %v", row[0], i, got, want)
			}
		}
		if w := p.whiteSum(); w != [3]int64{63190, 65536, 54061} {
			t.Errorf("%s: white adds up to %v", row[0], w)
		}
		l := p.Luma()
		if s := l[0] + l[1] + l[2]; math.Abs(s-1) > 1e-15 {
			t.Errorf("%s: luma adds up to %v", row[0], s)
		}
	}
	if seen != 4 {
		t.Errorf("%d spaces checked", seen)
	}
	if l := space(t, "grey-2.2").Luma(); l != [3]float64{1, 0, 0} {
		t.Errorf("grey luma %v", l)
	}
}

// Published code values (rgb_spaces.csv). A curve's parameters are rounded to
// 65536ths in a profile; the light may differ by what one code is worth, and
// codes by one.
func TestBuiltinCodeValues(t *testing.T) {
	for _, row := range readCSV(t, "rgb_spaces.csv") {
		n, ok := csvSpaces[row[0]]
		if !ok {
			continue
		}
		tone := space(t, n).Tone(0)
		switch row[1] {
		case "decode16":
			c, _ := strconv.Atoi(row[2])
			want := num(t, row[4])
			got := tone.Decode64()[c]
			step := tone.Decode64()[min(c+1, 65535)] - tone.Decode64()[max(c-1, 0)]
			if math.Abs(got-want) > step/2 {
				t.Errorf("%s code %d: light %v, published %v", n, c, got, want)
			}
		case "encode":
			want, _ := strconv.Atoi(row[4])
			if got := int(tone.Encode64(num(t, row[2]))); got < want-1 || got > want+1 {
				t.Errorf("%s light %s: code %d, published %d", n, row[2], got, want)
			}
		}
	}
}

// Digests of the tables as little-endian numbers, each entry computed from the
// profile's fixed-point parameters with mpmath 1.3 at 200 bits and rounded once
// (to float64 for light and thresholds, to float32 for the short table).
func TestTablesAreCorrectlyRounded(t *testing.T) {
	want := map[string][3]string{
		"sRGB": {
			"ae78d9300ccbde4d23168c8931ae91402b65479148cc8e5e82669d8a842fea0b",
			"d3e4e86f53c1184f0d055fa33fd71491c89d7671f2a7208ba680e5c42338cd28",
			"9c1f7ccb060e59ad7697b3ffe639e49034982a56ebbe8c81a1b4e10759fa3f12",
		},
		"opRGB": {
			"6626a27b13d660ffb3406ac52102ee730bed4782627f9e6a165ea73b49eb0c96",
			"3408dc56fac04298e892036891e9b6a6088178ce92636453c04a3ba29a01c8b3",
			"449683d2f6e69fd9b6aad7cc10d6f0da96f91e3004461fdb17cfcd0ed840a718",
		},
		"ROMM-RGB": {
			"9140bafb6f7c881098a1f20d0fc69c298a27157ecf6d7931fb22d2900361a9ce",
			"77eb41dafae4567923c722c5c4380aab40409125b98096687f572d552e0b89aa",
			"0c48ea398efc32be10db36d2449494314841588b7ae23edc4c993c72ecfad47c",
		},
		"grey-2.2": {
			"501846726b3009fc4a20d56cc79ad3811a58559a9ccd065b2843222ff4835008",
			"54d2e1db6a3f4264870253c12c6512f533e52b48755524db8ea51bffaa338cdc",
			"9d82bcf3e0e4395737da46e06def18b5a8d1bad49c58560a22ea2c6de7085b51",
		},
	}
	for n, w := range want {
		tone := space(t, n).Tone(0)
		for i, table := range []any{tone.Decode64(), tone.Decode(), tone.Thresholds()} {
			b, err := binary.Append(nil, binary.LittleEndian, table)
			if err != nil {
				t.Fatal(err)
			}
			if got := fmt.Sprintf("%x", sha256.Sum256(b)); got != w[i] {
				t.Errorf("%s table %d: %s, expected %s", n, i, got, w[i])
			}
		}
	}
	if space(t, "sRGB").Tone(0) != space(t, "Display-P3").Tone(2) {
		t.Error("sRGB and Display P3 don't share one table")
	}
}
