package tiff

import (
	"fmt"
	"math/big"
)

const (
	mendPlain  = "save it again as grey or RGB, 8 or 16 bits, without layers, uncompressed or with LZW"
	mendPlanar = "save it again as 'interleaved'"
)

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
	1: "uncompressed", 2: "fax compression", 3: "fax compression", 4: "fax compression", 5: "LZW",
	6: "JPEG, old style", 7: "JPEG", 8: "Deflate", 32946: "Deflate", 32773: "PackBits",
	34712: "JPEG 2000", 34925: "LZMA", 50000: "Zstandard", 50001: "WebP", 50002: "JPEG XL", 52546: "JPEG XL",
}

var photometricNames = map[uint64]string{
	3: "palette colours", 4: "a transparency mask", 5: "CMYK or other inks", 6: "YCbCr",
	8: "Lab", 9: "Lab", 10: "Lab", 32803: "unprocessed sensor data", 34892: "unprocessed sensor data",
	32844: "logarithmic luminance", 32845: "logarithmic luminance",
}

// describe reads and checks all properties of the picture but the places of
// its strips or tiles.
func (f *File) describe(d *dir) error {
	s := &f.src
	warn := func(format string, a ...any) { f.info.Warnings = append(f.info.Warnings, fmt.Sprintf(format, a...)) }
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
	photometric := one(tagPhotometric, 1<<20)
	samples := one(tagSamplesPerPixel, 1)
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

	switch compression {
	case 1, 5:
	default:
		return &Error{"Compression", fmt.Sprintf("the picture is compressed with %s (Compression %d); uncompressed and LZW files are read",
			nameOf(compressionNames, compression, "an unknown method"), compression), "save it again uncompressed or with LZW"}
	}

	if samples == 0 || samples > 65535 {
		return &Error{"SamplesPerPixel", fmt.Sprintf("the file claims %d samples a pixel (SamplesPerPixel)", samples), mendDamaged}
	}
	channels := uint64(3)
	switch photometric {
	case 0, 1:
		channels = 1
	case 2:
	case 1 << 20:
		return &Error{"PhotometricInterpretation", "the file doesn't say what its numbers mean (PhotometricInterpretation is missing)",
			"save it again as grey or RGB"}
	default:
		return &Error{"PhotometricInterpretation", fmt.Sprintf("the picture is stored as %s (PhotometricInterpretation %d); grey and RGB are read",
			nameOf(photometricNames, photometric, "an unknown kind of colour"), photometric), "save it again as grey or RGB"}
	}
	extra, err := f.extra(d)
	if err != nil {
		return err
	}
	if samples > channels || extra != "" {
		if extra == "" {
			extra = "of no stated meaning"
		}
		return &Error{"ExtraSamples", fmt.Sprintf("each pixel has %d samples (SamplesPerPixel), more than the %d of its colour; the rest is %s; pictures without extra channels are read",
			samples, channels, extra), "flatten the picture and delete its alpha and extra channels"}
	}
	if samples < channels {
		return &Error{"SamplesPerPixel", fmt.Sprintf("an RGB picture with %d samples a pixel (SamplesPerPixel)", samples), mendDamaged}
	}
	bits, err := f.bits(d, int(channels))
	if err != nil {
		return err
	}
	if err := f.format(d, int(channels)); err != nil {
		return err
	}
	if planar != 1 && !(planar == 2 && channels == 1) {
		if planar == 2 {
			return &Error{"PlanarConfiguration", "stored as separate colour planes (PlanarConfiguration 2); platemark reads interleaved pictures", mendPlanar}
		}
		return &Error{"PlanarConfiguration", fmt.Sprintf("PlanarConfiguration is %d; 1, interleaved, is read", planar), mendPlanar}
	}
	if fillOrder != 1 {
		return &Error{"FillOrder", fmt.Sprintf("the bits of each byte stand in another order (FillOrder %d); only 1 is read", fillOrder), mendPlain}
	}
	switch {
	case predictor == 1:
	case predictor == 2 && compression == 5:
	case predictor == 2:
		return &Error{"Predictor", "horizontal differencing (Predictor 2) in an uncompressed file has no agreed meaning: some programs apply it, others don't", mendPlain}
	case predictor == 3:
		return &Error{"Predictor", "floating-point differencing (Predictor 3) isn't read", mendPlain}
	default:
		return &Error{"Predictor", fmt.Sprintf("the unknown Predictor %d", predictor), mendPlain}
	}
	if orientation < 1 || orientation > 8 {
		warn("Orientation is %d, where 1 to 8 may stand; taken as 1, upright", orientation)
		orientation = 1
	}

	f.info.W, f.info.H, f.info.Bits, f.info.Channels = int(w), int(h), bits, int(channels)
	f.info.Orientation = int(orientation)
	f.info.Compression = compressionNames[compression]
	f.lzw, f.predict, f.invert = compression == 5, predictor == 2, photometric == 0
	if e, ok := d.get(tagICCProfile); ok {
		if e.typ != typeUndefined && e.typ != typeByte {
			return &Error{"ICCProfile", fmt.Sprintf("%s has field type %d, where bytes must stand", e.name(), e.typ), mendDamaged}
		}
		if f.info.ICC, err = s.bytes(e, maxProfile); err != nil {
			return err
		}
		if len(f.info.ICC) == 0 {
			f.info.ICC = nil
			warn("the embedded profile is empty; the picture is taken as untagged")
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

// extra describes the extra samples, "" where none are declared.
func (f *File) extra(d *dir) (string, error) {
	e, ok := d.get(tagExtraSamples)
	if !ok || e.count == 0 {
		return "", nil
	}
	v, err := f.src.uints(e, 65535)
	if err != nil {
		return "", err
	}
	switch v[0] {
	case 0:
		return "extra data (ExtraSamples 0)", nil
	case 1:
		return "alpha, multiplied into the colours (ExtraSamples 1)", nil
	case 2:
		return "alpha (ExtraSamples 2)", nil
	}
	return fmt.Sprintf("of unknown kind (ExtraSamples %d)", v[0]), nil
}

// perSample reads a field with one value a sample. A single value stands for
// all; same says whether the count was right.
func (f *File) perSample(d *dir, tag uint16, channels int, fallback uint64) (v []uint64, exact bool, err error) {
	e, ok := d.get(tag)
	if !ok {
		return []uint64{fallback}, true, nil
	}
	if v, err = f.src.uints(e, 65535); err != nil {
		return nil, false, err
	}
	if len(v) != channels && len(v) != 1 {
		return nil, false, &Error{tagNames[tag], fmt.Sprintf("%s has %d values for %d samples a pixel", e.name(), len(v), channels), mendDamaged}
	}
	return v, len(v) == channels, nil
}

func (f *File) bits(d *dir, channels int) (int, error) {
	v, exact, err := f.perSample(d, tagBitsPerSample, channels, 1)
	if err != nil {
		return 0, err
	}
	for _, b := range v[1:] {
		if b != v[0] {
			return 0, &Error{"BitsPerSample", fmt.Sprintf("the channels differ in depth (BitsPerSample %d)", v), mendPlain}
		}
	}
	if v[0] != 8 && v[0] != 16 {
		return 0, &Error{"BitsPerSample", fmt.Sprintf("%d bits a sample (BitsPerSample); 8 and 16 are read", v[0]), "save it again with 16 bits a channel"}
	}
	if !exact {
		f.info.Warnings = append(f.info.Warnings, fmt.Sprintf("BitsPerSample stands once for %d channels; taken for each of them", channels))
	}
	return int(v[0]), nil
}

func (f *File) format(d *dir, channels int) error {
	v, _, err := f.perSample(d, tagSampleFormat, channels, 1)
	if err != nil {
		return err
	}
	for _, k := range v {
		if k != 1 {
			name := nameOf(map[uint64]string{2: "signed whole numbers", 3: "floating-point numbers", 4: "numbers of undefined kind",
				5: "complex numbers", 6: "complex numbers"}, k, "numbers of unknown kind")
			return &Error{"SampleFormat", fmt.Sprintf("the samples are %s (SampleFormat %d); unsigned whole numbers are read", name, k),
				"save it again with 16 bits a channel"}
		}
	}
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
	scale := new(big.Rat)
	switch unit {
	case 1:
		warn("the resolution has no unit (ResolutionUnit 1)")
		return nil
	case 2:
		scale.SetInt64(1)
	case 3:
		scale.SetFrac64(254, 100)
	default:
		warn("the resolution has the unknown unit %d (ResolutionUnit)", unit)
		return nil
	}
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
	if f.info.XPPI, err = read(tagXResolution); err != nil {
		return err
	}
	f.info.YPPI, err = read(tagYResolution)
	return err
}
