// Package marsh draws the master picture that the demonstration starts from:
// a salt marsh on a November evening, invented and drawn by this code alone,
// so that anyone can make a 16-bit master of any size without a camera.
//
// What it promises:
//   - The same pixels for the same width and height, on every machine and
//     with any number of workers: no clock, no random source, and no fused
//     products.
//   - A composition described in shares of the picture, so that every size
//     shows the same scene. Only grain, which sits on the pixels, differs.
//   - Faults to mend, planted where Specks and HotPixels say: dust in the
//     sky and hot pixels; and colour fringes that grow from the centre.
//   - Memory for a few bands of rows, whatever the picture's height.
package marsh

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
)

const (
	// reach is how many rows outside a band the lens's colour fringes and
	// their smooth reading need: see fringeShare.
	reach = 6
	// maxSide is the largest width or height, in pixels.
	maxSide = 12000
	minSide = 16
)

// options are for the tests; the zero value draws the scene as promised.
type options struct {
	rows     int  // of a block; 0 for the usual
	workers  int  // painters at work; 0 for GOMAXPROCS
	noSpecks bool // leave out the dust
	noHot    bool // leave out the hot pixels
	noGrain  bool // leave out the grain
}

// Draw draws the scene w pixels wide and h high, each from 16 to 12000, and
// hands it on from top to bottom in blocks of whole rows.
//
// emit gets the first row's number and the block's samples: red, green and
// blue interleaved, 16 bits, in opRGB's encoding (gamma 563/256). It may not
// keep rows after it returns. progress, which may be nil, gets the rows done
// and h after each block. Both are called by the goroutine that called Draw,
// one call at a time. Blocks are drawn on all processors that Go may use.
//
// Draw ends early with emit's error, or with ctx's when ctx ends.
func Draw(ctx context.Context, w, h int, emit func(y0 int, rows []uint16) error, progress func(done, total int)) error {
	return draw(ctx, w, h, emit, progress, options{})
}

func draw(ctx context.Context, w, h int, emit func(int, []uint16) error, progress func(int, int), o options) error {
	if w < minSide || h < minSide || w > maxSide || h > maxSide {
		return fmt.Errorf("the scene can't be drawn at %d x %d px: width and height go from %d to %d px; give sizes in that range",
			w, h, minSide, maxSide)
	}
	if emit == nil {
		return errors.New("the scene has nowhere to go: emit is nil; give a function that takes the rows")
	}
	o.rows = cmp.Or(o.rows, 96)
	o.workers = cmp.Or(o.workers, runtime.GOMAXPROCS(0))
	if err := ctx.Err(); err != nil {
		return err
	}
	world := newWorld(w, h, o)

	// Bands are drawn at once, and handed on in order by this goroutine. A painter
	// keeps its band until then, which bounds how far they run ahead.
	type band struct {
		y0, y1 int
		done   chan *painter
	}
	ctx, stop := context.WithCancel(ctx)
	var crew sync.WaitGroup
	defer crew.Wait()
	defer stop()
	free := make(chan *painter, o.workers)
	for range cap(free) {
		free <- nil
	}
	bands := make(chan band, cap(free)) // never full
	crew.Go(func() {
		defer close(bands)
		for y := 0; y < h; y += o.rows {
			select {
			case <-ctx.Done():
				return
			case p := <-free:
				b := band{y, min(y+o.rows, h), make(chan *painter, 1)}
				bands <- b
				crew.Go(func() {
					if p == nil {
						p = newPainter(world)
					}
					p.band(b.y0, b.y1)
					b.done <- p
				})
			}
		}
	})
	for b := range bands {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case p := <-b.done:
			if err := emit(b.y0, p.out); err != nil {
				return err
			}
			if progress != nil {
				progress(b.y1, h)
			}
			free <- p
		}
	}
	return ctx.Err()
}

// world is what all workers read: the scene fitted to one size.
type world struct {
	options
	w, h                   int
	scaleX, scaleY, scaleR float32 // canvas to pixels
	skyTable               []rgb
	strokes                []stroke
	enc                    *encoder
	hot                    map[int][]hotPixel // by row
	column                 []lens             // by column
}

func newWorld(w, h int, o options) *world {
	s := &world{options: o, w: w, h: h, skyTable: skyTable(), enc: newEncoder()}
	s.scaleX, s.scaleY = float32(w)/wide, float32(h)
	s.scaleR = sqrt(s.scaleX * s.scaleY)
	s.plantIsles()
	s.plantTree()
	s.plantBank()
	s.grindLens()
	s.heatPixels()
	return s
}

// painter is one worker's brushes: its noise fields and one band's light.
type painter struct {
	*world
	warp, cloud, cirrus, relief, bank, ripple, swirl, wind, sand, spark *field
	soil, shore, comb, lump, pit, crust, bark                           *field
	lumpX, lumpX2, lumpY, lumpY2                                        *field
	hills, rough                                                        [3]*field
	lines                                                               [][3]float32 // ridge lines by column
	banks                                                               []float32    // the bank's edge by column
	plane                                                               [3][]float32
	touch                                                               []int32
	cover, deep, along, facing                                          []float32
	read                                                                [3][]float32
	out                                                                 []uint16 // a band's samples
}

func newPainter(s *world) *painter {
	p := &painter{world: s,
		warp: newField(201), cloud: newField(202), cirrus: newField(206), relief: newField(202), bank: newField(203),
		ripple: newField(301), swirl: newField(302), wind: newField(303), sand: newField(304), spark: newField(305),
		soil: newField(401), shore: newField(77), comb: newField(403),
		lump: newField(501), pit: newField(502), crust: newField(503), bark: newField(504),
		lumpX: newField(501), lumpX2: newField(501), lumpY: newField(501), lumpY2: newField(501),
		out: make([]uint16, s.rows*s.w*3),
	}
	for i := range p.hills {
		p.hills[i], p.rough[i] = newField(uint32(601+i)), newField(uint32(611+i))
	}
	p.lines = make([][3]float32, s.w)
	p.banks = make([]float32, s.w)
	for x := range p.lines {
		cx := (float32(x) + 0.5) / s.scaleX
		for i := range ridges {
			p.lines[x][i] = p.ridgeLine(i, cx)
		}
		p.banks[x] = bankTop(cx, p.shore.fractal(float32(cx*5), 1.5, 4, 0.5)) +
			float32(0.006*(p.comb.at(3, float32(cx*130), 0.5)-0.5))
	}
	for _, row := range []*[]float32{&p.cover, &p.deep, &p.along, &p.facing, &p.read[0], &p.read[1], &p.read[2]} {
		*row = make([]float32, s.w)
	}
	for i := range p.plane {
		p.plane[i] = make([]float32, s.w*(s.rows+2*reach))
	}
	return p
}

// band draws rows y0 to y1-1 into p.out.
func (p *painter) band(y0, y1 int) {
	p.out = p.out[:(y1-y0)*p.w*3]
	top, foot := y0-reach, y1+reach
	p.touch = p.touching(p.touch, top, foot)
	for y := top; y < foot; y++ {
		at := (y - top) * p.w
		red, green, blue := p.plane[0][at:at+p.w], p.plane[1][at:at+p.w], p.plane[2][at:at+p.w]
		p.backdrop(y, red, green, blue)
		for _, i := range p.touch {
			p.paint(&p.strokes[i], y, red, green, blue)
		}
	}
	for y := y0; y < y1; y++ {
		p.finish(y, top, p.out[(y-y0)*p.w*3:(y-y0+1)*p.w*3])
	}
}

// backdrop draws what lies behind the strokes in row y.
func (p *painter) backdrop(y int, red, green, blue []float32) {
	cy := (float32(y) + 0.5) / p.scaleY
	px := 1 / p.scaleY
	// The sky is soft: one look at it serves a few columns.
	every := max(1, p.w/1536)
	var here, next rgb
	from := -2 * every
	for x := range red {
		cx := (float32(x) + 0.5) / p.scaleX
		top := p.banks[x]
		var c rgb
		land := clamp01((cy-top)/px + 0.5)
		if land < 1 {
			wet := clamp01((cy-horizon)/px + 0.5)
			if wet < 1 {
				if x-from >= every || from < 0 {
					if x-from == every {
						here = next
					} else {
						here = p.sky(cx, min(cy, horizon), 7)
					}
					from = x
					next = p.sky(cx+float32(every)/p.scaleX, min(cy, horizon), 7)
				}
				c = here.to(next, float32(x-from)/float32(every))
				c = p.hillsOver(c, cx, cy, &p.lines[x], px)
			}
			if wet > 0 {
				c = c.to(p.water(cx, max(cy, horizon)), wet)
			}
		}
		if land > 0 {
			c = c.to(p.ground(cx, cy, top), land)
		}
		if cy > horizon {
			c = p.rocksOver(c, cx, cy, px)
			c = p.buoyOver(c, cx, cy, px)
		}
		red[x], green[x], blue[x] = c.r, c.g, c.b
	}
}
