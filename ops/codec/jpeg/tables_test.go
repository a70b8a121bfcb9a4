package jpeg

import (
	"encoding/csv"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The parts are tested alone, too.
func init() { makeTables() }

// published reads the check values: ITU-T T.81 Annex K and Figure A.6, and the
// IJG quality rule, asserted there against files of another encoder.
func published(t *testing.T) [][]string {
	t.Helper()
	f, err := os.Open("../../../testdata/standards/jpeg.csv")
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

func bytesOf(t *testing.T, fields []string, base int) (out []byte) {
	t.Helper()
	for _, s := range fields {
		v, err := strconv.ParseUint(s, base, 8)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, byte(v))
	}
	return out
}

func TestTablesArePublished(t *testing.T) {
	seen := 0
	check := func(name string, got, want []byte) {
		seen++
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, published %v", name, got, want)
		}
	}
	for _, r := range published(t) {
		which := 0
		if len(r) > 1 && strings.Contains(r[1], "chrominance") {
			which = 1
		}
		switch r[0] {
		case "table":
			want := bytesOf(t, r[2:], 10)
			switch r[1] {
			case "Q_luminance_K1_rowmajor":
				check(r[1], quantLuminance[:], want)
			case "Q_chrominance_K2_rowmajor":
				check(r[1], quantChrominance[:], want)
			case "zigzag_index_to_rowmajor_FigA6":
				check(r[1], zigzag[:], want)
			case "Q_luminance_K1_zigzag":
				check(r[1], inOrder(&quantLuminance), want)
			case "Q_chrominance_K2_zigzag":
				check(r[1], inOrder(&quantChrominance), want)
			}
		case "huff_bits", "huff_vals":
			h := &huffmanDC[which]
			if strings.HasPrefix(r[1], "AC") {
				h = &huffmanAC[which]
			}
			if r[0] == "huff_bits" {
				check(r[1]+" bits", h.counts[:], bytesOf(t, r[3:], 10))
			} else {
				check(r[1]+" values", h.values, bytesOf(t, r[3:], 16))
			}
		}
	}
	if seen != 5+8 {
		t.Errorf("%d tables checked, expected 13", seen)
	}
}

func inOrder(t *[64]byte) (out []byte) {
	for _, at := range zigzag {
		out = append(out, t[at])
	}
	return out
}

// The codes as T.81 lists them in tables K.3 to K.6.
func TestCodesArePublished(t *testing.T) {
	seen := 0
	check := func(name string, e uint32, size int, want string) {
		seen++
		n := int(e & 63)
		if got := fmt.Sprintf("%0*b", n, e>>6>>size); got != want {
			t.Errorf("%s: code %s, published %s", name, got, want)
		}
	}
	for _, r := range published(t) {
		if r[0] != "huff_code" {
			continue
		}
		if r[1] == "DC" {
			size, err := strconv.Atoi(strings.TrimPrefix(r[2], "category "))
			if err != nil {
				t.Fatal(err)
			}
			for k, s := range r[3:5] {
				check(r[2], annexK[k].dc[size], size, strings.Fields(s)[1])
			}
			continue
		}
		var run, size int
		if _, err := fmt.Sscanf(r[2], "run/size %X/%X", &run, &size); err != nil {
			t.Fatal(err)
		}
		k := 0
		if r[1] == "AC chrominance" {
			k = 1
		}
		check(r[1]+" "+r[2], annexK[k].ac[run<<4|size], size, r[3])
	}
	if seen != 24+19 {
		t.Errorf("%d codes checked, expected 43", seen)
	}
}

func TestQualityScaling(t *testing.T) {
	seen := 0
	for _, r := range published(t) {
		if r[0] != "quality" || r[1] == "formula" {
			continue
		}
		seen++
		q, err := strconv.Atoi(r[1])
		if err != nil {
			t.Fatal(err)
		}
		for i, base := range []*[64]byte{&quantLuminance, &quantChrominance} {
			s := scaled(base, q)
			if want := bytesOf(t, r[4+9*i:12+9*i], 10); !slices.Equal(inOrder(&s)[:8], want) {
				t.Errorf("quality %d: %v, published %v", q, inOrder(&s)[:8], want)
			}
			sum := 0
			for _, v := range s {
				sum += int(v)
			}
			if got := fmt.Sprintf("%s %d", []string{"sum_lum", "sum_chr"}[i], sum); got != r[21+i] {
				t.Errorf("quality %d: %s, published %s", q, got, r[21+i])
			}
		}
	}
	if seen < 15 {
		t.Errorf("%d qualities checked", seen)
	}
}
