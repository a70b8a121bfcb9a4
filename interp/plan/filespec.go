package plan

import (
	"fmt"
	"math/big"
	"slices"

	"platemark/ops"
	"platemark/ops/codec/jpeg"
	"platemark/ops/codec/meta"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

// FileSpec is the print file to write.
type FileSpec struct {
	Path    string // as written, relative to the recipe
	Format  string // "jpeg" or "tiff"
	Quality int    // jpeg
	Half    bool   // jpeg: half chroma
	Bits    int    // tiff
	PPI     *big.Rat
	Profile *colour.Profile
	Title   string
	Rights  string
	Line    int
	// Enlarged is how many of the print's pixels one of the master's own becomes,
	// along a side.
	Enlarged float64
	// LargestBytes, if not 0, is the size above which the file is refused.
	LargestBytes int64
}

// Args are the encoder's parameters, as logged and as the mark sees them. The
// file's name isn't among them.
func (f FileSpec) Args() ops.Args {
	a := argsOf("format", f.Format, "ppi", f.PPI, "profile", f.Profile.Digest())
	switch f.Format {
	case "jpeg":
		c := "full"
		if f.Half {
			c = "half"
		}
		a = append(a, argsOf("quality", f.Quality, "chroma", c)...)
		// The JFIF header holds whole pixels an inch; what it was rounded to is said.
		if d, err := jpeg.Density(f.PPI); err == nil && !f.PPI.IsInt() {
			a = append(a, argsOf("density", d)...)
		}
	case "tiff":
		a = append(a, argsOf("bits", f.Bits)...)
	}
	for _, t := range [][2]string{{"title", f.Title}, {"rights", f.Rights}} {
		if t[1] != "" {
			a = append(a, ops.Arg{Name: t[0], Value: t[1]})
		}
	}
	return a
}

func (f FileSpec) JPEGOptions(p ops.Pic) jpeg.Options {
	return jpeg.Options{W: p.W, H: p.H, C: p.C, Quality: f.Quality, HalfChroma: f.Half, PPI: f.PPI,
		ICC: f.Profile.Bytes(), Title: f.Title, Rights: f.Rights}
}

func (f FileSpec) TIFFOptions(p ops.Pic) tiff.Options {
	o := tiff.Options{W: p.W, H: p.H, C: p.C, Bits: f.Bits, PPI: f.PPI, Title: f.Title, Rights: f.Rights}
	if f.Profile != nil {
		o.ICC = f.Profile.Bytes()
	}
	if f.Title != "" || f.Rights != "" {
		o.XMP = meta.XMP(f.Title, f.Rights)
	}
	return o
}

// RowBytes is what a row takes in the file: exact for TIFF, for JPEG about what
// a rich picture at top quality takes.
func (f FileSpec) RowBytes(p ops.Pic) int {
	if f.Format == "tiff" {
		return p.Stride() * f.Bits / 8
	}
	return p.Stride() * 2 / 3
}

// Align is how many rows of pixels a row of blocks has in the file.
func (f FileSpec) Align(p ops.Pic) int {
	if f.Format == "jpeg" {
		if e, err := jpeg.New(f.JPEGOptions(p)); err == nil {
			return e.RowHeight()
		}
	}
	return 1
}

// likelyBits is what a pixel takes in a JPEG of full and of half chroma by its
// quality, in bits: the median of twelve photographs by several hands (Debian's
// lomiri-wallpapers), a part of 900 x 600 px of each, sharpened by 100 %, a print
// pixel for each of theirs. The smoothest take a quarter of it, the richest two
// and a half times as much.
var (
	likelyBits     = table{{1, 0.11}, {50, 0.51}, {75, 0.83}, {85, 1.21}, {90, 1.57}, {95, 2.42}, {98, 3.77}, {100, 5.97}}
	likelyHalfBits = table{{1, 0.07}, {50, 0.39}, {75, 0.66}, {85, 0.96}, {90, 1.26}, {95, 1.94}, {98, 3.04}, {100, 4.53}}
)

// likelyScale is what becomes of likelyBits where a picture is enlarged, by
// print pixels for one of the master's own, from the same photographs.
var likelyScale = table{{0.5, 1.2}, {1, 1}, {1.5, 0.72}, {2, 0.57}, {3, 0.46}, {4, 0.37}, {8, 0.25}}

// A table is a function by some of its values, at rising places.
type table [][2]float64

// at is linear between the values, and the nearest one beyond them.
func (t table) at(x float64) float64 {
	i := slices.IndexFunc(t, func(v [2]float64) bool { return x <= v[0] })
	switch i {
	case -1:
		return t[len(t)-1][1]
	case 0:
		return t[0][1]
	}
	lo, hi := t[i-1], t[i]
	return lo[1] + (hi[1]-lo[1])*(x-lo[0])/(hi[0]-lo[0])
}

// Room is what the print file takes on the disk: the very size of a TIFF, twice;
// of a JPEG what most pictures come to, and what pure noise at the highest
// quality does (1.32 bytes a sample were measured), within the lab's limit.
// Every estimate and what is set aside stand on it.
func (f FileSpec) Room(p ops.Pic) (likely, most int64) {
	if f.Format == "tiff" {
		l, err := tiff.NewLayout(f.TIFFOptions(p))
		if err != nil {
			return 0, 0 // said when the file is begun
		}
		return l.Size(), l.Size()
	}
	head := int64(len(f.Profile.Bytes())) + 1000
	most = int64(p.W)*int64(p.H)*int64(p.C)*4/3 + head
	if f.LargestBytes > 0 {
		most = min(most, f.LargestBytes)
	}
	bits := likelyBits
	if f.Half || p.C == 1 { // grey has no chroma: nearer to half than to full
		bits = likelyHalfBits
	}
	return min(most, int64(bits.at(float64(f.Quality))*likelyScale.at(f.Enlarged)*float64(p.W)*float64(p.H)/8)+head), most
}

// QualityWithin is the highest of the usual qualities below the file's own with which it
// likely keeps to n bytes, 0 where none does.
func (f FileSpec) QualityWithin(p ops.Pic, n int64) int {
	for _, q := range []int{98, 95, 92, 90, 85, 80, 75, 70, 60, 50} {
		g := f
		g.Quality, g.LargestBytes = q, 0
		if likely, _ := g.Room(p); q < f.Quality && likely <= n {
			return q
		}
	}
	return 0
}

// SizeText is a size in the units that labs use: MB is 10^6 bytes.
func SizeText(n int64) string {
	switch {
	case n >= 1_000_000_000:
		return fmt.Sprintf("%.2f GB", float64(n)/1e9)
	case n >= 1_000_000:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	case n >= 1000:
		return fmt.Sprintf("%.1f KB", float64(n)/1e3)
	}
	return fmt.Sprintf("%d bytes", n)
}
