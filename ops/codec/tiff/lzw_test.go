package tiff

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"platemark/ops/codec"
	"platemark/ops/codec/tiff/tifftest"
)

func unlzw(packed []byte, n int, piece int) ([]byte, error) {
	d := new(lzwReader)
	d.reset(&codec.Source{R: bytes.NewReader(packed), Size: uint64(len(packed))}, 0, uint64(len(packed)))
	out := make([]byte, n)
	for i := 0; i < n; i += piece {
		if err := d.read(out[i:min(n, i+piece)]); err != nil {
			return out[:i], err
		}
	}
	return out, nil
}

// TIFF 6.0 section 13's example, and a long one that equals libtiff's own
// strip: testdata/standards/tiff.csv.
func TestLZWExamples(t *testing.T) {
	in := unhex(t, example(t, "LZW sec.13 input")[2])
	packed := unhex(t, example(t, "LZW strip bytes")[2])
	got, err := unlzw(packed, len(in), 3)
	if err != nil || !bytes.Equal(got, in) {
		t.Errorf("% x, %v", got, err)
	}
	if !bytes.Equal(tifftest.LZW(in), packed) {
		t.Error("the test writer packs otherwise")
	}

	x := uint64(1)
	long := make([]byte, 20000)
	for i := range long {
		x = (1103515245*x + 12345) & (1<<31 - 1)
		long[i] = byte(x>>16) & 63
	}
	hash := func(b []byte) string { return fmt.Sprintf("sha256 %x", sha256.Sum256(b)) }
	if r := example(t, "LZW long input"); r[2] != hash(long) {
		t.Fatal("the sequence was made otherwise")
	}
	packed = tifftest.LZW(long)
	if r := example(t, "LZW long: libtiff"); r[3] != hash(packed) {
		t.Errorf("packed to %d bytes, libtiff to another strip of %s", len(packed), r[2])
	}
	for _, piece := range []int{1, 7, 300, 20000} {
		got, err := unlzw(packed, len(long), piece)
		if err != nil || !bytes.Equal(got, long) {
			t.Errorf("pieces of %d: %v", piece, err)
		}
	}
	if _, err := unlzw(packed, len(long)+1, 500); err != errShort {
		t.Errorf("one byte too many: %v", err)
	}
	// A single long run makes the longest strings.
	run := bytes.Repeat([]byte{9}, 1<<20)
	if got, err := unlzw(tifftest.LZW(run), len(run), 1000); err != nil || !bytes.Equal(got, run) {
		t.Error(err)
	}
}

// The fast unpacker gives the same bytes and the same errors as the plain one,
// on good and on broken data.
func TestLZWWholeEqualsPlain(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	outcomes := map[bool]int{}
	for i := range 3000 {
		data := make([]byte, 1+rng.IntN(9000))
		mask := byte(1<<rng.IntN(9) - 1)
		for k := range data {
			data[k] = byte(rng.Uint32()) & mask
			if k > 9 && i%3 == 0 {
				data[k] = data[k-1-rng.IntN(9)]
			}
		}
		packed := tifftest.LZW(data)
		n := len(data)
		switch i % 4 {
		case 1:
			packed[rng.IntN(len(packed))] ^= 1 << rng.IntN(8)
		case 2:
			packed = packed[:rng.IntN(len(packed)+1)]
		case 3:
			n = 1 + rng.IntN(n+3)
		}
		want, wantErr := unlzw(packed, n, 1+rng.IntN(700))
		got := make([]byte, n)
		err := new(lzwWhole).unpack(&codec.Source{R: bytes.NewReader(packed), Size: uint64(len(packed))}, 0, uint64(len(packed)), got)
		outcomes[err == nil]++
		if fmt.Sprint(err) != fmt.Sprint(wantErr) {
			t.Fatalf("%v, want %v", err, wantErr)
		}
		if err == nil && !bytes.Equal(got, want) {
			t.Fatal("other bytes")
		}
	}
	if outcomes[true] < 500 || outcomes[false] < 500 {
		t.Errorf("outcomes %v", outcomes)
	}

	// A table that is full and never cleared stays as it is.
	var bits, codes []byte
	put := func(code, width int) {
		for k := width - 1; k >= 0; k-- {
			bits = append(bits, byte(code>>k)&1)
		}
	}
	put(256, 9)
	next, width := 258, 9
	data := make([]byte, 6000)
	for i := range data {
		data[i] = byte(rng.Uint32())
		put(int(data[i]), width)
		if i > 0 && next < 4096 {
			next++
		}
		if next == 1<<width-1 && width < 12 {
			width++
		}
	}
	for i := 0; i+8 <= len(bits); i += 8 {
		v := 0
		for _, b := range bits[i : i+8] {
			v = v<<1 | int(b)
		}
		codes = append(codes, byte(v))
	}
	want, err := unlzw(codes, 5990, 100)
	got := make([]byte, 5990)
	errWhole := new(lzwWhole).unpack(&codec.Source{R: bytes.NewReader(codes), Size: uint64(len(codes))}, 0, uint64(len(codes)), got)
	if err != nil || errWhole != nil || !bytes.Equal(got, want) || !bytes.Equal(got, data[:5990]) {
		t.Errorf("a full table: %v, %v", err, errWhole)
	}
}

func TestPredictorExamples(t *testing.T) {
	ints := func(r []string) (out []uint16) {
		for _, s := range r[2:] {
			if v, err := strconv.Atoi(s); err == nil {
				out = append(out, uint16(v))
			}
		}
		return out
	}
	stored, want := ints(example(t, "predictor 2 16-bit RGB stored")), ints(example(t, "predictor 2 16-bit RGB input"))
	addUp(stored, 3)
	if !slices.Equal(stored, want) {
		t.Errorf("%d, want %d", stored, want)
	}
	var b, wantB []byte
	for _, v := range ints(example(t, "predictor 2 8-bit RGB stored")) {
		b = append(b, byte(v))
	}
	for _, v := range ints(example(t, "predictor 2 8-bit RGB input")) {
		wantB = append(wantB, byte(v))
	}
	addUp(b, 3)
	if len(b) != 9 || !bytes.Equal(b, wantB) {
		t.Errorf("%d, want %d", b, wantB)
	}
}
