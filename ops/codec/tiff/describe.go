package tiff

import (
	"fmt"
	"math/big"
)

const mendPlain = "save it again as grey or RGB with 8 or 16 bits a channel, uncompressed or with LZW or ZIP"

// Kinds of directories.
const (
	kindFull = iota
	kindReduced
	kindMask
	kindNone // no picture at all
)

// kind says what a directory holds (NewSubfileType, or the older SubfileType
// where that is missing).
func (s *source) kind(d *dir) (int, error) {
	_, w := d.get(tagImageWidth)
	_, h := d.get(tagImageLength)
	if !w && !h {
		return kindNone, nil
	}
	v, err := s.one(d, tagNewSubfileType, 0)
	if err != nil {
		return kindNone, err
	}
	if _, ok := d.get(tagNewSubfileType); !ok {
		old, err := s.one(d, tagSubfileType, 1)
		if err != nil {
			return kindNone, err
		}
		if old == 2 {
			v = 1
		}
	}
	switch {
	case v&4 != 0:
		return kindMask, nil
	case v&1 != 0:
		return kindReduced, nil
	}
	return kindFull, nil
}

// choose takes the first full-resolution picture and describes the others.
func (s *source) choose(dirs []*dir) (chosen *dir, others []string, err error) {
	for _, d := range dirs {
		kind, err := s.kind(d)
		if err != nil && chosen == nil {
			return nil, nil, err
		}
		if err != nil || kind == kindNone {
			continue
		}
		if kind == kindFull && chosen == nil {
			chosen = d
			continue
		}
		w, werr := s.one(d, tagImageWidth, 0)
		h, herr := s.one(d, tagImageLength, 0)
		size := fmt.Sprintf("%d x %d", w, h)
		if werr != nil || herr != nil {
			size = "of unknown size"
		}
		name := [...]string{kindFull: "another picture", kindReduced: "a reduced copy", kindMask: "a mask"}[kind]
		others = append(others, name+", "+size)
	}
	if chosen == nil {
		if len(others) > 0 {
			return nil, nil, &Error{"NewSubfileType", fmt.Sprintf("the file holds no full-resolution picture, only %s", others[0]),
				"save the full picture as TIFF again"}
		}
		return nil, nil, &Error{"ImageWidth", "the file holds no picture", mendDamaged}
	}
	return chosen, others, nil
}

var compressionNames = map[uint64]string{
	1: "uncompressed", 2: "fax compression (CCITT)", 3: "fax compression (CCITT)", 4: "fax compression (CCITT)", 5: "LZW",
	6: "JPEG, old style", 7: "JPEG", 8: "Deflate", 32946: "Deflate", 32773: "PackBits",
	9: "JBIG", 10: "JBIG", 34661: "JBIG", 32771: "fax compression (CCITT)", 34676: "logarithmic compression", 34677: "logarithmic compression",
	34712: "JPEG 2000", 34887: "LERC", 34925: "LZMA", 50000: "Zstandard", 50001: "WebP", 50002: "JPEG XL", 52546: "JPEG XL",
}

// packings are the ways of compression that are read, and the most that one
// byte unpacks to.
var packings = map[uint64]struct {
	packing packing
	most    uint64
}{
	1: {packNone, 1}, 5: {packLZW, lzwMost}, 8: {packDeflate, deflateMost}, 32946: {packDeflate, deflateMost}, 32773: {packBits, packBitsMost},
}

// describe reads and checks all properties of the picture but the places of
// its strips or tiles.
func (f *File) describe(d *dir) error {
	s := &f.src
	var errs []error
	one := func(tag uint16, fallback uint64) uint64 {
		v, err := s.one(d, tag, fallback)
		if err != nil {
			errs = append(errs, err)
		}
		return v
	}
	w, h := one(tagImageWidth, 0), one(tagImageLength, 0)
	compression := one(tagCompression, 1)
	planar := one(tagPlanarConfig, 1)
	fillOrder := one(tagFillOrder, 1)
	predictor := one(tagPredictor, 1)
	orientation := one(tagOrientation, 1)
	if len(errs) > 0 {
		return errs[0]
	}

	if w == 0 || h == 0 {
		return &Error{"ImageWidth", fmt.Sprintf("the picture is %d x %d pixels", w, h), mendDamaged}
	}
	if w > MaxSide || h > MaxSide {
		return &Error{"ImageWidth", fmt.Sprintf("the picture claims %d x %d pixels; sides up to %d are read", w, h, MaxSide), ""}
	}
	f.info.W, f.info.H = int(w), int(h)

	p, ok := packings[compression]
	if !ok {
		return &Error{"Compression", fmt.Sprintf("the picture is compressed with %s (Compression %d); uncompressed, LZW, Deflate and PackBits files are read",
			nameOf(compressionNames, compression, "an unknown method"), compression), "save it again uncompressed or with LZW or ZIP"}
	}
	f.packing, f.most = p.packing, p.most
	f.info.Compression = compressionNames[compression]

	if planar != 1 && planar != 2 {
		return &Error{"PlanarConfiguration", fmt.Sprintf("PlanarConfiguration is %d; 1, interleaved, and 2, separate planes, are read", planar), "save it again as 'interleaved'"}
	}
	if err := f.meaning(d, planar == 2); err != nil {
		return err
	}
	if fillOrder != 1 {
		return &Error{"FillOrder", fmt.Sprintf("the bits of each byte stand in another order (FillOrder %d); only 1 is read", fillOrder), mendPlain}
	}
	if err := f.predictor(predictor); err != nil {
		return err
	}
	if orientation < 1 || orientation > 8 {
		f.warn("Orientation is %d, where 1 to 8 may stand; taken as 1, upright", orientation)
		orientation = 1
	}
	f.info.Orientation = int(orientation)
	if e, ok := d.get(tagICCProfile); ok {
		if e.typ != typeUndefined && e.typ != typeByte {
			return &Error{"ICCProfile", fmt.Sprintf("%s has field type %d, where bytes must stand", e.name(), e.typ), mendDamaged}
		}
		var err error
		if f.info.ICC, err = s.bytes(e, maxProfile); err != nil {
			return err
		}
		if len(f.info.ICC) == 0 {
			f.info.ICC = nil
			f.warn("the embedded profile is empty; the picture is taken as untagged")
		}
	}
	return f.resolution(d)
}

func (f *File) warn(format string, a ...any) {
	f.info.Warnings = append(f.info.Warnings, fmt.Sprintf(format, a...))
}

func nameOf(names map[uint64]string, v uint64, unknown string) string {
	if n, ok := names[v]; ok {
		return n
	}
	return unknown
}

// predictor checks tag 317 against compression and depth.
func (f *File) predictor(v uint64) error {
	name := map[uint64]string{2: "horizontal differencing", 3: "the floating point predictor"}[v]
	bits, float := f.form.bits, f.form.float
	switch {
	case v == 1:
	case v != 2 && v != 3:
		return &Error{"Predictor", fmt.Sprintf("the unknown Predictor %d", v), mendPlain}
	case f.packing == packNone:
		return &Error{"Predictor", fmt.Sprintf("%s (Predictor %d) in an uncompressed file has no agreed meaning: some programs apply it, others don't", name, v), mendPlain}
	case f.packing == packBits:
		return &Error{"Predictor", fmt.Sprintf("%s (Predictor %d) in a PackBits file has no agreed meaning: some programs apply it, others don't", name, v), mendPlain}
	case v == 3 && !float:
		return &Error{"Predictor", fmt.Sprintf("%s (Predictor 3) on samples that are whole numbers", name), mendPlain}
	case v == 2 && bits != 8 && bits != 16 && bits != 32 && bits != 64:
		return &Error{"Predictor", fmt.Sprintf("%s (Predictor 2) on samples of %d bits isn't read", name, bits), mendPlain}
	}
	f.predict = int(v)
	f.form.bigEndian = f.info.BigEndian || v == 3
	return nil
}

// resolution reads tags 282, 283 and 296, exactly. What can't be used is a
// warning: the pixels are still right.
func (f *File) resolution(d *dir) error {
	s := &f.src
	_, hasX := d.get(tagXResolution)
	_, hasY := d.get(tagYResolution)
	if !hasX && !hasY {
		return nil
	}
	warn := func(format string, a ...any) {
		f.info.Warnings = append(f.info.Warnings, fmt.Sprintf(format, a...)+"; the file is taken as without resolution")
	}
	unit, err := s.one(d, tagResolutionUnit, 2)
	if err != nil {
		return err
	}
	scale := big.NewRat(1, 1)
	read := func(tag uint16) (*big.Rat, error) {
		e, ok := d.get(tag)
		if !ok {
			return nil, nil
		}
		if e.typ != typeRational || e.count != 1 {
			warn("%s isn't one fraction", e.name())
			return nil, nil
		}
		b, err := s.bytes(e, 8)
		if err != nil {
			return nil, err
		}
		n, den := s.order.Uint32(b), s.order.Uint32(b[4:])
		if n == 0 || den == 0 {
			warn("%s is %d/%d", e.name(), n, den)
			return nil, nil
		}
		r := new(big.Rat).SetFrac64(int64(n), int64(den))
		return r.Mul(r, scale), nil
	}
	switch unit {
	case 1:
		// One pixel of no unit is how a file says that it has no resolution.
		x, _ := read(tagXResolution)
		y, _ := read(tagYResolution)
		if one := big.NewRat(1, 1); x == nil || y == nil || x.Cmp(one) != 0 || y.Cmp(one) != 0 {
			warn("the resolution has no unit (ResolutionUnit 1)")
		}
		return nil
	case 2:
		scale.SetInt64(1)
	case 3:
		scale.SetFrac64(254, 100)
	default:
		warn("the resolution has the unknown unit %d (ResolutionUnit)", unit)
		return nil
	}
	if f.info.XPPI, err = read(tagXResolution); err != nil {
		return err
	}
	f.info.YPPI, err = read(tagYResolution)
	return err
}
