// Package vectors reads the frozen vectors of testdata/frozen and computes
// them again.
//
// A vector file is text: a header of # lines that says how inputs are made and
// what is computed, then cases. Lines that begin with "= " are results; Run
// replaces them by what the code gives now, so that a file is right if Run
// gives it back unchanged. A case is added by writing its input lines and
// copying the result that the failing test prints.
//
// It promises to open no file: the texts are handed in.
package vectors

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"fmt"
	"math/big"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"platemark/ops/colour"
	"platemark/ops/raster"
)

// few is the number of samples up to which they are written out in place of
// their digest.
const few = 48

// A block is one case: its lines without results.
type block struct {
	lines [][2]string // word, rest
}

// all gives the rests of the lines that begin with word.
func (b block) all(word string) (out []string) {
	for _, l := range b.lines {
		if l[0] == word {
			out = append(out, l[1])
		}
	}
	return out
}

// fileName tells what a file is about: kind, subject, version.
var fileName = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^(operation|encoder|decoder|digest|table)-([a-z-]+)-([0-9]+)\.txt$`)
})

// columnFiles are the files with one case a line: columns, and what gives the
// last one.
var columnFiles = map[string]struct {
	n   int
	one func(f []string) (string, error)
}{
	"encoder jpeg":    {9, jpegLine},
	"encoder tiff":    {9, tiffLine},
	"table spaces":    {3, spaceLine},
	"table functions": {3, functionLine},
	"table profiles":  {2, profileLine},
}

// caseFiles are the other files but those of operations.
var caseFiles = map[string]func(b block) ([]string, error){
	"digest picture": digestCase,
	"decoder tiff":   func(b block) ([]string, error) { return decoderCase(b, openTIFF) },
	"decoder png":    func(b block) ([]string, error) { return decoderCase(b, openPNG) },
}

// subject is the kind, such as "encoder jpeg", and the version that a vector
// file is about; false for a name of another form.
func subject(file string) (kind string, version int, ok bool) {
	m := fileName().FindStringSubmatch(file)
	if m == nil {
		return "", 0, false
	}
	version, err := strconv.Atoi(m[3])
	return m[1] + " " + m[2], version, err == nil
}

// Run gives the text of the vector file called name with its results computed
// again. The error says which case can't be computed.
func Run(name string, text []byte) ([]byte, error) {
	kind, version, ok := subject(name)
	if !ok {
		return nil, fmt.Errorf("%s: not the name of a vector file", name)
	}
	if c, ok := columnFiles[kind]; ok {
		return columns(name, text, c.n, c.one)
	}
	one := caseFiles[kind]
	if operation, ok := strings.CutPrefix(kind, "operation "); ok {
		one = func(b block) ([]string, error) { return operationCase(operation, version, b) }
	}
	if one == nil {
		return nil, fmt.Errorf("%s: nothing computes this file", name)
	}
	var out bytes.Buffer
	var b block
	flush := func() error {
		if len(b.lines) == 0 {
			return nil
		}
		results, err := one(b)
		if err != nil {
			return fmt.Errorf("%s: case %s: %w", name, strings.Join(b.all("case"), " "), err)
		}
		for _, r := range results {
			fmt.Fprintln(&out, "= "+r)
		}
		b = block{}
		return nil
	}
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSuffix(line, "\n")
		switch {
		case strings.HasPrefix(line, "="):
			continue
		case line == "" || line[0] == '#':
			if err := flush(); err != nil {
				return nil, err
			}
		default:
			word, rest, _ := strings.Cut(line, " ")
			b.lines = append(b.lines, [2]string{word, rest})
		}
		fmt.Fprintln(&out, line)
	}
	if err := flush(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// columns runs a file with one case a line, of n columns, whose last is the
// result.
func columns(name string, text []byte, n int, one func(f []string) (string, error)) ([]byte, error) {
	var out bytes.Buffer
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSuffix(line, "\n")
		if line == "" || line[0] == '#' {
			fmt.Fprintln(&out, line)
			continue
		}
		f := strings.Fields(line)
		if len(f) != n {
			return nil, fmt.Errorf("%s: %s: %d columns, expected %d", name, line, len(f), n)
		}
		result, err := one(f)
		if err != nil {
			return nil, fmt.Errorf("%s: %s: %w", name, line, err)
		}
		fmt.Fprintln(&out, strings.Join(append(f[:len(f)-1], result), " "))
	}
	return out.Bytes(), nil
}

// A picture is a small input or result.
type picture struct {
	w, h, c int
	space   string // "" = none
	px      []uint16
}

func (p picture) profile() *colour.Profile {
	return spaces()[p.space] // nil for ""
}

func (p picture) row(y int) []uint16 { return p.px[y*p.w*p.c : (y+1)*p.w*p.c] }

// bytes are the samples, 16 bits little-endian.
func (p picture) bytes() []byte { return raster.LE(p.px, new([]byte)) }

// results writes the picture: its size, and its samples, or their digest and those
// of eight pixels in the middle of two rows.
func (p picture) results() []string {
	head := fmt.Sprintf("%d %d %d %s", p.w, p.h, p.c, cmp.Or(p.space, "-"))
	numbers := func(word string, list []uint16) string {
		for _, v := range list {
			word += " " + strconv.Itoa(int(v))
		}
		return word
	}
	if len(p.px) > few {
		out := []string{head + " sha256 " + sum(p.bytes())}
		x := max(0, p.w-8) / 2
		for _, y := range []int{0, p.h / 2} {
			out = append(out, numbers(fmt.Sprintf("at %d %d", x, y), p.row(y)[x*p.c:min(x+8, p.w)*p.c]))
		}
		return out
	}
	out := []string{head}
	for y := range p.h {
		out = append(out, numbers("row", p.row(y)))
	}
	return out
}

func sum(b []byte) string { return raster.Sum(sha256.Sum256(b)).String() }

// input makes the picture that "PATTERN BITS W H C SPACE" names; SPACE is "-"
// for none.
func input(text string) (picture, error) {
	f := strings.Fields(text)
	if len(f) != 6 {
		return picture{}, fmt.Errorf("input %q: expected pattern, bits, width, height, channels and space", text)
	}
	var n [4]int
	for i := range n {
		v, err := strconv.Atoi(f[i+1])
		if err != nil || v < 1 || v > 1<<12 {
			return picture{}, fmt.Errorf("input %q: %s is no number from 1 to 4096", text, f[i+1])
		}
		n[i] = v
	}
	p := picture{w: n[1], h: n[2], c: n[3]}
	if f[5] != "-" {
		if spaces()[f[5]] == nil {
			return picture{}, fmt.Errorf("input %q: no space %s", text, f[5])
		}
		p.space = f[5]
	}
	var err error
	p.px, err = pattern(f[0], n[0], p.w, p.h, p.c)
	return p, err
}

// pattern makes samples by whole-number arithmetic; the headers of the files
// say how.
func pattern(kind string, bits, w, h, c int) ([]uint16, error) {
	px := make([]uint16, w*h*c)
	state := uint64(w*131 + h*17 + c)
	next := func() uint64 {
		state += 0x9e3779b97f4a7c15
		z := state
		z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
		z = (z ^ z>>27) * 0x94d049bb133111eb
		return z ^ z>>31
	}
	for i := range px {
		x, y, k := i/c%w, i/c/w, i%c
		var v uint64
		switch kind {
		case "noise":
			v = next()
		case "smooth":
			v = uint64(x*3+y*2*(k+1))/2 + next()%3
		case "edges":
			v = uint64((x/5+y/7+k)%2)*200 + 20 + next()%8
		case "extreme":
			v = next() % 2 * 255
		case "flat":
			v = uint64(90 + 60*k)
		case "ramp":
			px[i] = uint16(65535 * int64(i) / int64(max(len(px)-1, 1)))
			continue
		case "greys":
			px[i] = uint16(37 * (x + y*w))
			continue
		case "impulse":
			if x == w/2 && y == h/2 {
				px[i] = 65535
			}
			continue
		case "step":
			if 2*x >= w {
				px[i] = 65535
			}
			continue
		case "calm":
			// A calm square amid noise.
			if v = next(); max(x-w/2, w/2-x, y-h/2, h/2-y) < 14 {
				v = 120 + v%3
			}
		case "corners":
			// Every triple of five levels in turn.
			n := x + y*w
			px[i] = [5]uint16{0, 1, 32768, 65534, 65535}[n/[4]int{1, 5, 25, 125}[k%4]%5]
			continue
		default:
			return nil, fmt.Errorf("no pattern %q", kind)
		}
		s := uint16(v&255) * 257
		if bits == 16 {
			s = uint16(i*40503) ^ s>>3
		}
		px[i] = s
	}
	return px, nil
}

// ratio reads "n" or "n/d"; "-" is nil.
func ratio(s string) (*big.Rat, error) {
	if s == "-" {
		return nil, nil
	}
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return nil, fmt.Errorf("%q is no fraction", s)
	}
	return r, nil
}
