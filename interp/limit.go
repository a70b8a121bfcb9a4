package interp

import (
	"context"
	"fmt"
	"image"
	"slices"

	"platemark/interp/plan"
	"platemark/ops/codec/jpeg"
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
	s := fmt.Sprintf("the file grows above the limit of %s", plan.SizeText(e.Limit))
	switch {
	case e.Format != "jpeg":
		return s + "; a smaller size, or save jpeg, fits"
	case e.Quality < 0:
		return fmt.Sprintf("%s at quality %d; which quality fits couldn't be found out", s, e.Asked)
	case e.Quality == 0:
		return fmt.Sprintf("%s at quality %d, and no quality fits; print it smaller or at fewer ppi", s, e.Asked)
	}
	return fmt.Sprintf("%s at quality %d; quality %d fits: about %s, by samples of the finished picture", s, e.Asked, e.Quality, plan.SizeText(e.Bytes))
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
func (s *Session) fitting(ctx context.Context, p *plan.Print, asked *TooLarge) {
	asked.Format, asked.Asked, asked.Quality = p.File.Format, p.File.Quality, -1
	if p.File.Format != "jpeg" {
		return
	}
	pic := p.Nodes[p.Out].Pic
	spec := p.File
	e, err := jpeg.New(spec.JPEGOptions(pic))
	if err != nil {
		return
	}
	n := e.RowHeight()
	blocks := (pic.H + n - 1) / n
	deep := max(1, min(4, limitMemory/(limitStripes*n*pic.Stride()*2)))
	stripes := min(limitStripes, max(1, blocks/deep))
	var rows [][]uint16 // of whole rows of blocks
	var at []int        // the row of blocks that each n rows are
	for i := range stripes {
		first := min(blocks*i/stripes+(blocks/stripes-deep)/2, blocks-deep)
		first = max(first, 0)
		y0, y1 := first*n, min((first+deep)*n, pic.H)
		m, err := s.Region(ctx, p, p.Out, image.Rect(0, y0, pic.W, y1))
		if err != nil {
			return
		}
		for i := 0; i < y1-y0; i += n {
			at = append(at, first+i/n)
		}
		rows = slices.AppendSeq(rows, slices.Chunk(m.Samples, pic.Stride()))
	}
	size := func(q int) int64 {
		spec.Quality = q
		e, err := jpeg.New(spec.JPEGOptions(pic))
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
