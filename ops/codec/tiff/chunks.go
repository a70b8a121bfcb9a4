package tiff

import (
	"fmt"
	"math/bits"

	"platemark/ops/codec"
	"platemark/ops/codec/ifd"
)

// chunks are the strips or tiles of the picture. Strips are tiles as wide as
// the picture. All places have been checked against the file.
type chunks struct {
	tiles         bool
	w, h          int // pixels of one tile; of a strip, picture width and rows
	across, down  int
	planes        int
	rowBytes      int // stored bytes of one row of one tile
	offset, count []uint64
}

// name of chunk i for messages, counted from one.
func (c *chunks) name(i int) string {
	return fmt.Sprintf("%s %d of %d", c.word(), i+1, len(c.offset))
}

// at is the number of the chunk in the given plane, row and column.
func (c *chunks) at(plane, band, tx int) int {
	return (plane*c.down+band)*c.across + tx
}

func (c *chunks) word() string {
	if c.tiles {
		return "tile"
	}
	return "strip"
}

// rows stored in the chunks of row number band: the last strip is shorter,
// the last tile isn't.
func (c *chunks) rows(band, pictureH int) int {
	if c.tiles {
		return c.h
	}
	return min(c.h, pictureH-band*c.h)
}

// findChunks reads and checks the layout of the picture's data.
func (f *File) findChunks(d *ifd.Dir) error {
	s, in, c := f.src, &f.info, &f.chunks
	warn := f.info.Warn
	c.planes = f.form.planes()

	// The whole picture against the whole file, before anything is set aside.
	total := uint64(in.H) * uint64(c.planes) * f.rowBytes(in.W)
	if f.packing == packNone && total > s.Size {
		return codec.Errorf("size", codec.Damaged, "the file claims %d x %d pixels, which are %d bytes, but has only %d bytes", in.W, in.H, total, s.Size)
	}
	if total/f.most > s.Size {
		return codec.Errorf("size", codec.Damaged, "the file claims %d x %d pixels, which are %d bytes; its %d bytes can't hold them, even compressed", in.W, in.H, total, s.Size)
	}

	_, tw := d.Get(tagTileWidth)
	_, tl := d.Get(tagTileLength)
	c.tiles = tw || tl
	offsetTag, countTag := uint16(tagStripOffsets), uint16(tagStripByteCounts)
	noRows := false // RowsPerStrip is missing
	if c.tiles {
		in.Layout = "tiles"
		w, err := s.One(d, tagTileWidth, 0)
		if err != nil {
			return err
		}
		h, err := s.One(d, tagTileLength, 0)
		if err != nil {
			return err
		}
		if w == 0 || h == 0 || w > codec.MaxSide || h > codec.MaxSide {
			return codec.Errorf("TileWidth", codec.Damaged, "the tiles are %d x %d pixels (TileWidth, TileLength); sides of 1 to %d are read", w, h, codec.MaxSide)
		}
		if w%16 != 0 || h%16 != 0 {
			warn("the tiles are %d x %d pixels, where multiples of 16 should stand", w, h)
		}
		c.w, c.h = int(w), int(h)
		if _, ok := d.Get(tagTileOffsets); ok {
			offsetTag, countTag = tagTileOffsets, tagTileByteCounts
		}
	} else {
		in.Layout = "strips"
		_, ok := d.Get(tagRowsPerStrip)
		noRows = !ok
		rows, err := s.One(d, tagRowsPerStrip, uint64(in.H))
		if err != nil {
			return err
		}
		if noRows {
			rows = f.guessRows(d)
		}
		if rows == 0 {
			return codec.Errorf("RowsPerStrip", codec.Damaged, "the strips have no rows (RowsPerStrip 0)")
		}
		c.w, c.h = in.W, int(min(rows, uint64(in.H)))
	}
	row := f.rowBytes(c.w)
	if row > maxRow {
		return codec.Errorf("ImageWidth", "save it again with 16 bits a channel and without extra channels", "one row of a %s has %d bytes; at most %d are read", c.word(), row, maxRow)
	}
	c.rowBytes = int(row)
	c.across, c.down = ceilDiv(in.W, c.w), ceilDiv(in.H, c.h)
	n := uint64(c.across) * uint64(c.down) * uint64(c.planes)
	if n > maxChunks {
		return codec.Errorf(tagNames[offsetTag], "save it again with larger ones", "the picture is cut into %d %ss; at most %d are read", n, c.word(), maxChunks)
	}

	inPlanes := ""
	if c.planes > 1 {
		inPlanes = fmt.Sprintf(" in %d planes", c.planes)
	}
	e, ok := d.Get(offsetTag)
	if !ok {
		return codec.Errorf(tagNames[offsetTag], codec.Damaged, "the file doesn't say where the picture's data is (%s is missing)", tagNames[offsetTag])
	}
	if e.Count < n {
		return codec.Errorf(tagNames[offsetTag], codec.Damaged, "%d x %d pixels need %d %ss%s, but %s names only %d", in.W, in.H, n, c.word(), inPlanes, e, e.Count)
	}
	if noRows && e.Count > uint64(c.planes) {
		if c.down == 1 {
			return codec.Errorf("RowsPerStrip", codec.Damaged, "the picture is in %d strips, but their height isn't given (RowsPerStrip is missing)", e.Count)
		}
		warn("RowsPerStrip is missing; the strips are uncompressed, so their height, %d rows, follows from their length", c.h)
	}
	k, hasCounts := d.Get(countTag)
	if hasCounts && k.Count != e.Count {
		return codec.Errorf(tagNames[countTag], codec.Damaged, "%s names %d %ss, but %s names %d", e, e.Count, c.word(), k, k.Count)
	}
	if e.Count > n {
		warn("%d x %d pixels need %d %ss%s, but the file names %d; the first are taken", in.W, in.H, n, c.word(), inPlanes, e.Count)
	}
	var err error
	if c.offset, err = s.Uints(e, 2*maxChunks); err != nil {
		return err
	}
	c.offset = c.offset[:n]
	if hasCounts {
		if c.count, err = s.Uints(k, 2*maxChunks); err != nil {
			return err
		}
		c.count = c.count[:n]
	} else {
		if f.packing != packNone {
			return codec.Errorf(tagNames[countTag], codec.Damaged, "the file doesn't say how long its compressed %ss are (%s is missing)", c.word(), tagNames[countTag])
		}
		if err := f.guessCounts(countTag); err != nil {
			return err
		}
		warn("%s is missing; the %ss are uncompressed, so their length follows from their size", tagNames[countTag], c.word())
	}
	return f.checkChunks(offsetTag, countTag)
}

// rowBytes is the number of stored bytes in a row of w pixels of one plane.
// w is at most MaxSide, so that it fits.
func (f *File) rowBytes(w int) uint64 {
	return (uint64(w)*uint64(f.form.step)*uint64(f.form.bits) + 7) / 8
}

// guessRows is the height of strips whose RowsPerStrip is missing: the height
// of the picture, which the specification gives as the default, or what
// follows from the lengths of several uncompressed strips of equal length
// where only one height is possible.
func (f *File) guessRows(d *ifd.Dir) uint64 {
	h, planes := uint64(f.info.H), uint64(f.chunks.planes)
	e, ok := d.Get(tagStripOffsets)
	k, hasCounts := d.Get(tagStripByteCounts)
	if !ok || !hasCounts || f.packing != packNone || e.Count != k.Count || e.Count <= planes || e.Count > maxChunks {
		return h
	}
	counts, err := f.src.Uints(k, maxChunks)
	row := f.rowBytes(f.info.W)
	if err != nil || counts[0] == 0 || counts[0]%row != 0 {
		return h
	}
	rows := counts[0] / row
	down := (h-1)/rows + 1
	if down*planes != e.Count {
		return h
	}
	for i, n := range counts {
		if last := uint64(i)%down == down-1; !last && n != counts[0] || last && n != (h-(down-1)*rows)*row {
			return h
		}
	}
	return rows
}

func ceilDiv(a, b int) int { return (a-1)/b + 1 }

// guessCounts sets the counts of uncompressed chunks from their size. They
// must follow each other without overlap.
func (f *File) guessCounts(countTag uint16) error {
	c := &f.chunks
	c.count = make([]uint64, len(c.offset))
	end := uint64(0)
	for i, off := range c.offset {
		c.count[i] = f.need(i)
		if off < end {
			return codec.Errorf(tagNames[countTag], codec.Damaged, "%s is missing, and the %ss overlap", tagNames[countTag], c.word())
		}
		end = off + c.count[i]
	}
	return nil
}

// need is the number of uncompressed bytes in chunk i.
func (f *File) need(i int) uint64 {
	c := &f.chunks
	return uint64(c.rowBytes) * uint64(c.rows(i/c.across%c.down, f.info.H))
}

// checkChunks checks every chunk's place and length.
func (f *File) checkChunks(offsetTag, countTag uint16) error {
	s, c := f.src, &f.chunks
	long := false
	for i, off := range c.offset {
		n, need := c.count[i], f.need(i)
		switch {
		case n == 0:
			return codec.Errorf(tagNames[countTag], codec.Damaged, "%s is empty (%s 0)", c.name(i), tagNames[countTag])
		case off < s.Head():
			return codec.Errorf(tagNames[offsetTag], codec.Damaged, "%s should begin at byte %d (%s), inside the file's header", c.name(i), off, tagNames[offsetTag])
		case !s.Holds(off, n):
			return codec.Errorf(tagNames[offsetTag], codec.Damaged, "%s should stand at bytes %d to %s (%s, %s), but the file has only %d bytes",
				c.name(i), off, codec.Sum(off, n), tagNames[offsetTag], tagNames[countTag], s.Size)
		case f.packing == packNone && n < need:
			return codec.Errorf(tagNames[countTag], codec.Damaged, "%s has %d bytes, but its pixels need %d", c.name(i), n, need)
		}
		if f.packing == packNone && n >= need+uint64(c.rowBytes) && i/c.across%c.down < c.down-1 {
			long = true
		}
		if hi, lo := bits.Mul64(n, f.most); hi == 0 && lo < need {
			return codec.Errorf(tagNames[countTag], codec.Damaged, "%s has %d bytes, which can't hold its %d bytes of pixels, even compressed", c.name(i), n, need)
		}
	}
	if long {
		f.info.Warn("the %ss are longer than their pixels need; the rest of each is passed over", c.word())
	}
	if f.packing == packLZW {
		var b [2]byte
		if f.chunks.count[0] >= 2 {
			if err := s.At(b[:], c.offset[0], c.name(0)); err != nil {
				return err
			}
			if b[0] == 0 && b[1]&1 != 0 {
				return codec.Errorf("Compression", "save it again uncompressed or with LZW or ZIP", "the picture is compressed with LZW of an early form that was never in the standard (lowest bit first)")
			}
		}
	}
	return nil
}
