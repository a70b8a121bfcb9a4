package vectors

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"platemark/ops/codec/jpeg"
	"platemark/ops/codec/meta"
	"platemark/ops/codec/png"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
	"platemark/ops/exact"
	"platemark/ops/raster"
)

// The texts of the files whose header column says texts.
const (
	title  = "Reeds, 4 < 5"
	rights = "© the photographer"
)

// testProfile stands in for a profile of 70,000 bytes.
func testProfile() []byte {
	b := make([]byte, 70000)
	for i := range b {
		b[i] = byte(i % 251)
	}
	return b
}

// smallProfile is the profile of grey-2.2 or opRGB.
func smallProfile(channels int) []byte {
	if channels == 1 {
		return spaces()["grey-2.2"].Bytes()
	}
	return spaces()["opRGB"].Bytes()
}

// jpegLine: picture bits width height channels quality chroma header sha256.
func jpegLine(f []string) (string, error) {
	p, err := input(strings.Join(f[:5], " ") + " -")
	if err != nil {
		return "", err
	}
	o := jpeg.Options{W: p.w, H: p.h, C: p.c, HalfChroma: f[6] == "half"}
	if o.Quality, err = strconv.Atoi(f[5]); err != nil {
		return "", err
	}
	switch f[7] {
	case "texts":
		o.PPI, _ = ratio("601/2")
		o.Title, o.Rights, o.ICC = title, rights, testProfile()
	case "small":
		o.PPI, _ = ratio("300")
		o.Title, o.Rights, o.ICC = title, rights, smallProfile(p.c)
	}
	e, err := jpeg.New(o)
	if err != nil {
		return "", err
	}
	// Rows of blocks from the last to the first: each stands by itself.
	w := e.Worker()
	parts := make([][]byte, e.Rows())
	for i := e.Rows() - 1; i >= 0; i-- {
		var rows [][]uint16
		for y := i * e.RowHeight(); y < min((i+1)*e.RowHeight(), p.h); y++ {
			rows = append(rows, p.row(y))
		}
		parts[i] = w.Encode(nil, i, rows)
	}
	return file(slices.Concat(e.Header(), slices.Concat(parts...), e.Trailer())), nil
}

// file is a small file in hexadecimal, a larger one by its digest.
func file(b []byte) string {
	if len(b) <= 2048 {
		return hex.EncodeToString(b)
	}
	return sum(b)
}

// tiffLine: picture bits width height channels bits-written ppi header file. The
// picture "none" asks for what stands before the samples.
func tiffLine(f []string) (string, error) {
	var p picture
	var err error
	if f[0] == "none" {
		_, err = fmt.Sscan(strings.Join(f[2:5], " "), &p.w, &p.h, &p.c)
	} else {
		p, err = input(strings.Join(f[:5], " ") + " -")
	}
	if err != nil {
		return "", err
	}
	var o tiff.Options
	if o.Bits, err = strconv.Atoi(f[5]); err != nil {
		return "", err
	}
	if o.PPI, err = ratio(f[6]); err != nil {
		return "", err
	}
	switch f[7] {
	case "texts":
		o.Title, o.Rights, o.ICC, o.XMP = title, rights, testProfile(), meta.XMP(title, rights)
	case "small":
		o.Title, o.Rights, o.ICC, o.XMP = title, rights, smallProfile(p.c), meta.XMP(title, rights)
	}
	b, err := p.tiff(o)
	return file(b), err
}

func (p picture) tiff(o tiff.Options) ([]byte, error) {
	o.W, o.H, o.C = p.w, p.h, p.c
	l, err := tiff.NewLayout(o)
	if err != nil {
		return nil, err
	}
	b := slices.Clone(l.Header())
	if p.px == nil {
		return b, nil
	}
	for y := range p.h {
		b = l.AppendRow(b, p.row(y), y)
	}
	return append(b, l.Trailer()...), nil
}

// decodable is an opened master of either format.
type decodable struct {
	w, h, c int
	decode  func(ctx context.Context, workers int, emit func(y0 int, rows []uint16) error) (tiff.Counts, error)
}

func openTIFF(b []byte, white bool) (d decodable, err error) {
	f, err := tiff.Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return d, err
	}
	if white {
		f = f.OnWhite()
	}
	i := f.Info()
	return decodable{i.W, i.H, i.Channels, f.DecodeCounted}, nil
}

func openPNG(b []byte, white bool) (d decodable, err error) {
	f, err := png.Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return d, err
	}
	if white {
		f = f.OnWhite()
	}
	i := f.Info()
	return decodable{i.W, i.H, i.Channels, func(ctx context.Context, workers int, emit func(y0 int, rows []uint16) error) (tiff.Counts, error) {
		return tiff.Counts{}, f.Decode(ctx, workers, emit)
	}}, nil
}

// decoderCase decodes the file given in hexadecimal; a line "on white" lays it
// on white.
func decoderCase(b block, open func(file []byte, white bool) (decodable, error)) ([]string, error) {
	file, err := hex.DecodeString(strings.ReplaceAll(strings.Join(b.all("hex"), ""), " ", ""))
	if err != nil {
		return nil, err
	}
	var first []string
	for _, workers := range []int{1, 3} {
		f, err := open(file, slices.Contains(b.all("on"), "white"))
		if err != nil {
			return nil, err
		}
		p := picture{w: f.w, h: f.h, c: f.c, px: make([]uint16, f.w*f.h*f.c)}
		n, err := f.decode(context.Background(), workers, func(y0 int, rows []uint16) error {
			copy(p.px[y0*f.w*f.c:], rows)
			return nil
		})
		if err != nil {
			return nil, err
		}
		got := p.results()
		if n.Clipped != 0 || n.NotNumbers != 0 || n.Translucent != 0 {
			got = append(got, fmt.Sprintf("met %d clipped, %d no numbers, %d translucent", n.Clipped, n.NotNumbers, n.Translucent))
		}
		if first == nil {
			first = got
		} else if !slices.Equal(first, got) {
			return nil, fmt.Errorf("%d workers decode it to other samples", workers)
		}
	}
	return first, nil
}

func digestCase(b block) ([]string, error) {
	p, err := input(strings.Join(b.all("in"), " "))
	if err != nil {
		return nil, err
	}
	var profile raster.Sum
	if q := p.profile(); q != nil {
		profile = q.Digest()
	}
	var rows []uint32
	var scratch []byte
	for y := range p.h {
		rows = append(rows, raster.RowSum(p.row(y), &scratch))
	}
	out := []string{fmt.Sprintf("row-0 %08x", rows[0])}
	bands := raster.Bands(rows)
	for i, s := range bands {
		out = append(out, fmt.Sprintf("band-%d %s", i, s))
	}
	return append(out, "picture "+raster.PictureSum(p.w, p.h, p.c, profile, bands).String()), nil
}

// spaceLine: space what result. What is profile (the digest of its bytes),
// decode-N or thresholds-N (the digest of the curve of channel N, 64-bit
// little-endian IEEE numbers), or luma (its three weights as bits).
func spaceLine(f []string) (string, error) {
	p, ok := colour.Space(f[0])
	if !ok {
		return "", fmt.Errorf("no space %s", f[0])
	}
	numbers := func(list []float64) string {
		var b []byte
		for _, x := range list {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
		return sum(b)
	}
	what, channel, _ := strings.Cut(f[1], "-")
	n, _ := strconv.Atoi(channel)
	if n < 0 || n >= p.Channels() {
		return "", fmt.Errorf("no channel %d", n)
	}
	switch what {
	case "profile":
		return sum(p.Bytes()), nil
	case "decode":
		return numbers(p.Tone(n).Decode64()), nil
	case "thresholds":
		return numbers(p.Tone(n).Thresholds()), nil
	case "luma":
		l := p.Luma()
		return hexBits(l[:]...), nil
	}
	return "", fmt.Errorf("nothing is called %s", f[1])
}

func hexBits(x ...float64) string {
	var out []string
	for _, v := range x {
		out = append(out, fmt.Sprintf("%016x", math.Float64bits(v)))
	}
	return strings.Join(out, ",")
}

// profileLine: a profile's name and its bytes in hexadecimal.
func profileLine(f []string) (string, error) {
	p := spaces()[f[0]]
	if p == nil {
		return "", fmt.Errorf("no profile %s", f[0])
	}
	return hex.EncodeToString(p.Bytes()), nil
}

// functions are those of table-functions; y is 0 for functions of one argument.
var functions = map[string]func(x, y exact.DD) exact.DD{
	"sinpi": func(x, _ exact.DD) exact.DD { return exact.Sinpi(x) },
	"exp":   func(x, _ exact.DD) exact.DD { return exact.Exp(x) },
	"log":   func(x, _ exact.DD) exact.DD { return exact.Log(x) },
	"cbrt":  func(x, _ exact.DD) exact.DD { return exact.Cbrt(x) },
	"pow":   exact.Pow, "add": exact.DD.Add, "mul": exact.DD.Mul, "quo": exact.DD.Quo,
}

// functionLine: function arguments result, where arguments are fractions
// separated by commas and the result is the nearest float64 and float32 as bits.
func functionLine(f []string) (string, error) {
	var x [2]exact.DD
	for i, s := range strings.Split(f[1], ",") {
		r, err := ratio(s)
		if err != nil || i > 1 || r == nil {
			return "", fmt.Errorf("arguments %q", f[1])
		}
		x[i] = exact.Rat(r)
	}
	function, ok := functions[f[0]]
	if !ok {
		return "", fmt.Errorf("no function %s", f[0])
	}
	y := function(x[0], x[1])
	// A zero has no sign here.
	return fmt.Sprintf("%016x,%08x", math.Float64bits(y.Hi+0), math.Float32bits(y.Float32()+0)), nil
}
