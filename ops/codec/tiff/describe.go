package tiff

import (
	"cmp"
	"math/big"

	"platemark/ops/codec"
	"platemark/ops/codec/ifd"
)

const mendPlain = "save it again as grey or RGB with 8 or 16 bits a channel, uncompressed or with LZW or ZIP"

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
func (f *File) describe(d *ifd.Dir) error {
	s := f.src
	var errs []error
	one := func(tag uint16, fallback uint64) uint64 {
		v, err := s.One(d, tag, fallback)
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
	orientation := one(ifd.Orientation, 1)
	if len(errs) > 0 {
		return errs[0]
	}

	if err := codec.CheckSides("ImageWidth", w, h); err != nil {
		return err
	}
	f.info.W, f.info.H = int(w), int(h)

	p, ok := packings[compression]
	if !ok {
		return codec.Errorf("Compression", "save it again uncompressed or with LZW or ZIP", "the picture is compressed with %s (Compression %d); uncompressed, LZW, Deflate and PackBits files are read",
			nameOf(compressionNames, compression, "an unknown method"), compression)
	}
	f.packing, f.most = p.packing, p.most
	f.info.Compression = compressionNames[compression]

	if planar != 1 && planar != 2 {
		return codec.Errorf("PlanarConfiguration", "save it again as 'interleaved'", "PlanarConfiguration is %d; 1, interleaved, and 2, separate planes, are read", planar)
	}
	if err := f.readPixel(d, planar == 2); err != nil {
		return err
	}
	if fillOrder != 1 {
		return codec.Errorf("FillOrder", mendPlain, "the bits of each byte stand in another order (FillOrder %d); only 1 is read", fillOrder)
	}
	if err := f.predictor(predictor); err != nil {
		return err
	}
	if orientation < 1 || orientation > 8 {
		f.info.Warn("Orientation is %d, where 1 to 8 may stand; taken as 1, upright", orientation)
		orientation = 1
	}
	f.info.Orientation = int(orientation)
	if e, ok := d.Get(tagICCProfile); ok {
		if e.Type != ifd.Undefined && e.Type != ifd.Byte {
			return codec.Errorf("ICCProfile", codec.Damaged, "%s has field type %d, where bytes must stand", e, e.Type)
		}
		var err error
		if f.info.ICC, err = s.Bytes(e, codec.MaxProfile); err != nil {
			return err
		}
		if len(f.info.ICC) == 0 {
			f.info.ICC = nil
			f.info.Warn("the embedded profile is empty; the picture is taken as untagged")
		}
	}
	return f.resolution(d)
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
		return codec.Errorf("Predictor", mendPlain, "the unknown Predictor %d", v)
	case f.packing == packNone:
		return codec.Errorf("Predictor", mendPlain, "%s (Predictor %d) in an uncompressed file has no agreed meaning: some programs apply it, others don't", name, v)
	case f.packing == packBits:
		return codec.Errorf("Predictor", mendPlain, "%s (Predictor %d) in a PackBits file has no agreed meaning: some programs apply it, others don't", name, v)
	case v == 3 && !float:
		return codec.Errorf("Predictor", mendPlain, "%s (Predictor 3) on samples that are whole numbers", name)
	case v == 2 && bits != 8 && bits != 16 && bits != 32 && bits != 64:
		return codec.Errorf("Predictor", mendPlain, "%s (Predictor 2) on samples of %d bits isn't read", name, bits)
	}
	f.predict = int(v)
	f.form.bigEndian = f.info.BigEndian || v == 3
	return nil
}

// resolution reads tags 282, 283 and 296, exactly. What can't be used is a
// warning: the pixels are still right.
func (f *File) resolution(d *ifd.Dir) error {
	s := f.src
	_, hasX := d.Get(ifd.XResolution)
	_, hasY := d.Get(ifd.YResolution)
	if !hasX && !hasY {
		return nil
	}
	warn := func(format string, a ...any) {
		f.info.Warn(format+"; the file is taken as without resolution", a...)
	}
	unit, err := s.One(d, ifd.ResolutionUnit, 2)
	if err != nil {
		return err
	}
	if unit < 1 || unit > 3 {
		warn("the resolution has the unknown unit %d (ResolutionUnit)", unit)
		return nil
	}
	x, errX := s.PerInch(d, ifd.XResolution, unit, warn)
	y, errY := s.PerInch(d, ifd.YResolution, unit, warn)
	if unit > 1 {
		f.info.XPPI, f.info.YPPI = x, y
		return cmp.Or(errX, errY)
	}
	// One pixel of no unit is how a file says that it has no resolution.
	if one := big.NewRat(1, 1); x == nil || y == nil || x.Cmp(one) != 0 || y.Cmp(one) != 0 {
		warn("the resolution has no unit (ResolutionUnit 1)")
	}
	return nil
}
