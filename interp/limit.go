package interp

import (
	"context"
	"fmt"
	"image"
	"slices"

	"platemark/interp/engine"
	"platemark/ops"
	"platemark/ops/codec/jpeg"
	"platemark/ops/codec/tiff"
)

// TooLarge is a print file that grew above its limit. It has no name then.
type TooLarge struct {
	Limit int64
	Size  int64 // 0 where only the limit was met
	// Quality is one that fits by a check on samples of the finished picture,
	// 0 where none does, -1 where that check failed; Bytes is the size to expect with it.
	Quality int
	Bytes   int64
	Format  string
	Asked   int
}

func (e *TooLarge) Error() string {
	s := fmt.Sprintf("the file grows above the limit of %s", SizeText(e.Limit))
	switch {
	case e.Format != "jpeg":
		return s + "; a smaller size, or save jpeg, fits"
	case e.Quality < 0:
		return fmt.Sprintf("%s at quality %d; which quality fits couldn't be found out", s, e.Asked)
	case e.Quality == 0:
		return fmt.Sprintf("%s at quality %d, and no quality fits; print it smaller or at fewer ppi", s, e.Asked)
	}
	return fmt.Sprintf("%s at quality %d; quality %d fits: about %s, by samples of the finished picture", s, e.Asked, e.Quality, SizeText(e.Bytes))
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

// likelyBits is what a pixel takes in a JPEG of full and of half chroma by its
// quality, in bits, linear between: the median of twelve photographs by several
// hands (Debian's lomiri-wallpapers), a part of 900 x 600 px of each, sharpened
// by 100 %, a print pixel for each of theirs. The smoothest take a quarter of
// it, the richest two and a half times as much.
var likelyBits = []struct {
	quality    int
	full, half float64
}{{1, 0.11, 0.07}, {50, 0.51, 0.39}, {75, 0.83, 0.66}, {85, 1.21, 0.96}, {90, 1.57, 1.26}, {95, 2.42, 1.94}, {98, 3.77, 3.04}, {100, 5.97, 4.53}}

// likelyScale is what becomes of likelyBits where a picture is enlarged, by
// print pixels for one of the master's own, from the same photographs.
var likelyScale = []struct{ enlarged, share float64 }{{0.5, 1.2}, {1, 1}, {1.5, 0.72}, {2, 0.57}, {3, 0.46}, {4, 0.37}, {8, 0.25}}

// room is what the print file takes on the disk: the very size of a TIFF, twice;
// of a JPEG what most pictures come to, and what pure noise at the highest
// quality does (1.32 bytes a sample were measured), within the lab's limit.
// Every estimate and what is set aside stand on it.
func (f FileSpec) room(p ops.Pic) (likely, most int64) {
	if f.Format == "tiff" {
		l, err := tiff.NewLayout(f.tiffOptions(p))
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
	// Grey has no chroma: nearer to half than to full.
	pick := func(i int) float64 {
		if f.Half || p.C == 1 {
			return likelyBits[i].half
		}
		return likelyBits[i].full
	}
	bits := pick(len(likelyBits) - 1)
	for i := 1; i < len(likelyBits); i++ {
		if lo, hi := likelyBits[i-1].quality, likelyBits[i].quality; f.Quality <= hi {
			bits = pick(i-1) + (pick(i)-pick(i-1))*float64(f.Quality-lo)/float64(hi-lo)
			break
		}
	}
	scale := likelyScale[len(likelyScale)-1].share
	for i, k := range likelyScale {
		if f.Enlarged > k.enlarged {
			continue
		}
		if scale = k.share; i > 0 {
			j := likelyScale[i-1]
			scale = j.share + (k.share-j.share)*(f.Enlarged-j.enlarged)/(k.enlarged-j.enlarged)
		}
		break
	}
	return min(most, int64(bits*scale*float64(p.W)*float64(p.H)/8)+head), most
}

// lower is the highest of the usual qualities below the file's own with which it
// likely keeps to n bytes, 0 where none does.
func (f FileSpec) lower(p ops.Pic, n int64) int {
	for _, q := range []int{98, 95, 92, 90, 85, 80, 75, 70, 60, 50} {
		g := f
		g.Quality, g.LargestBytes = q, 0
		if likely, _ := g.room(p); q < f.Quality && likely <= n {
			return q
		}
	}
	return 0
}

// The samples that a fitting quality is looked for with: stripes of rows of
// blocks, spread evenly from top to bottom.
const (
	limitStripes = 24
	limitMemory  = 96 << 20 // bytes of samples at most
	// limitMargin is kept free below the limit, since samples are only that.
	limitMargin = 0.03
)

// fitting looks for the best quality that keeps the print under its limit: it
// computes stripes of the finished picture again and encodes them at the
// qualities in question.
func (b *builder) fitting(ctx context.Context, p *Plan, asked *TooLarge) {
	asked.Format, asked.Asked, asked.Quality = p.File.Format, p.File.Quality, -1
	if p.File.Format != "jpeg" {
		return
	}
	g, _, err := b.graph(ctx, p, p.Out, nil)
	if err != nil {
		return
	}
	pic := p.Nodes[p.Out].Pic
	spec := p.File
	e, err := jpeg.New(spec.jpegOptions(pic))
	if err != nil {
		return
	}
	n := e.RowHeight()
	blocks := (pic.H + n - 1) / n
	deep := max(1, min(4, limitMemory/(limitStripes*n*pic.Stride()*2)))
	stripes := min(limitStripes, max(1, blocks/deep))
	var rows [][]uint16 // of whole rows of blocks
	var at []int        // the row of blocks that each n rows are
	for s := range stripes {
		first := min(blocks*s/stripes+(blocks/stripes-deep)/2, blocks-deep)
		first = max(first, 0)
		y0, y1 := first*n, min((first+deep)*n, pic.H)
		px, err := engine.Region(ctx, g, g.Out, image.Rect(0, y0, pic.W, y1), b.o.Workers)
		if err != nil {
			return
		}
		for i := 0; i < y1-y0; i += n {
			at = append(at, first+i/n)
		}
		rows = slices.AppendSeq(rows, slices.Chunk(px, pic.Stride()))
	}
	size := func(q int) int64 {
		spec.Quality = q
		e, err := jpeg.New(spec.jpegOptions(pic))
		if err != nil {
			return 1 << 62
		}
		w := e.Worker()
		var out []byte
		done := 0
		var total int64
		for _, i := range at {
			k := min(n, pic.H-i*n)
			out = w.Encode(out[:0], i, rows[done:done+k])
			done += k
			total += int64(len(out))
		}
		return int64(len(e.Header())+len(e.Trailer())) + total*int64(blocks)/int64(len(at))
	}
	lo, hi := 0, spec.Quality // lo fits (or is 0), hi doesn't
	for hi-lo > 1 {
		mid := (lo + hi) / 2
		if s := size(mid); float64(s) <= float64(asked.Limit)*(1-limitMargin) {
			lo, asked.Bytes = mid, s
		} else {
			hi = mid
		}
	}
	asked.Quality = lo
}
