package tiff

import (
	"fmt"
	"slices"

	"platemark/ops/codec"
	"platemark/ops/codec/ifd"
)

// form says how one pixel is stored.
type form struct {
	samples int // a pixel, alpha and extra data included
	step    int // samples a pixel in one strip or tile: samples, or 1 where each has a plane
	bits    int // a sample
	float   bool
	white   bool // grey with white as 0
	alpha   string
	alphaAt int // which sample is alpha

	// levels are the 16-bit values of samples below 16 bits; palette the
	// colours of a palette picture. nil where there are none.
	levels  []uint16
	palette *[3][]uint16

	bigEndian bool // samples that span bytes, when the predictor is undone
}

// wide says whether samples pass through float64: those of more than 16 bits
// and floating-point ones.
func (m *form) wide() bool { return m.float || m.bits > 16 }

// planes is the number of planes that the picture is stored in.
func (m *form) planes() int { return m.samples / m.step }

var photometricNames = map[uint64]string{
	4: "a transparency mask", 5: "CMYK or other inks", 6: "YCbCr",
	8: "Lab", 9: "Lab (ICC)", 10: "Lab (ITU)", 32803: "unprocessed sensor data", 34892: "unprocessed sensor data",
	32844: "logarithmic luminance", 32845: "logarithmic luminance",
}

// readPixel reads and checks how a pixel is stored, and what its samples mean.
func (f *File) readPixel(d *ifd.Dir, planar bool) error {
	const missing = 1 << 20
	photometric, err := f.src.One(d, tagPhotometric, missing)
	if err != nil {
		return err
	}
	samples, err := f.src.One(d, tagSamplesPerPixel, 1)
	if err != nil {
		return err
	}
	colours, channels := 1, 1 // stored, decoded
	switch photometric {
	case 0, 1:
	case 2:
		colours, channels = 3, 3
	case 3:
		channels = 3
	default:
		return refuseColour(photometric, photometric == missing)
	}
	if samples == 0 || samples > 65535 {
		return codec.Errorf("SamplesPerPixel", codec.Damaged, "the file claims %d samples a pixel (SamplesPerPixel)", samples)
	}
	if samples < uint64(colours) {
		return codec.Errorf("SamplesPerPixel", codec.Damaged, "an RGB picture with %d samples a pixel (SamplesPerPixel)", samples)
	}
	if samples > maxSamples {
		return codec.Errorf("SamplesPerPixel", "delete the extra channels", "each pixel has %d samples (SamplesPerPixel); at most %d are read", samples, maxSamples)
	}
	m := &f.form
	m.samples, m.step, m.white = int(samples), int(samples), photometric == 0
	if planar {
		m.step = 1
	}
	f.info.Channels, f.info.Palette = channels, photometric == 3
	f.info.Planes = planar && samples > 1
	if m.float, err = f.floats(d); err != nil {
		return err
	}
	if m.bits, err = f.bits(d, photometric); err != nil {
		return err
	}
	f.info.Bits, f.info.Float = m.bits, m.float
	if err := f.extra(d, colours); err != nil {
		return err
	}
	f.info.Alpha = m.alpha
	if m.alpha == AlphaAssociated && (m.white || f.info.Palette) {
		what := "grey with white as 0"
		if f.info.Palette {
			what = "numbers of colours"
		}
		return codec.Errorf("ExtraSamples", "save it again as grey or RGB, or flatten it", "alpha that is multiplied into %s (ExtraSamples 1) has no agreed meaning", what)
	}
	if m.bits < 16 {
		m.levels = make([]uint16, 1<<m.bits)
		most := uint32(len(m.levels) - 1)
		for v := range m.levels {
			m.levels[v] = uint16((2*65535*uint32(v) + most) / (2 * most))
		}
	}
	if f.info.Palette {
		return f.colourMap(d)
	}
	return nil
}

func refuseColour(photometric uint64, missing bool) error {
	e := &codec.Error{Property: "PhotometricInterpretation", Mend: "save it again as grey or RGB"}
	name := nameOf(photometricNames, photometric, "an unknown kind of colour")
	e.Detail = fmt.Sprintf("the picture is stored as %s (PhotometricInterpretation %d); grey, RGB and palette pictures are read", name, photometric)
	switch {
	case missing:
		e.Detail = "the file doesn't say what its numbers mean (PhotometricInterpretation is missing)"
	case photometric == 5:
		e.Detail = "the picture is stored as CMYK or other inks (PhotometricInterpretation 5); a master is grey or RGB, because ink amounts are made for one printing process and have no single RGB meaning"
		e.Mend = "convert it to RGB in the program that made it, with its own profile, and save that as 16-bit TIFF"
	case photometric >= 8 && photometric <= 10:
		e.Detail = fmt.Sprintf("the picture is stored as %s (PhotometricInterpretation %d); a master is grey or RGB, because Lab holds colours that no RGB space has, and which of them to give up is for you to decide", name, photometric)
		e.Mend = "convert it to a wide RGB space in the program that made it, and save that as 16-bit TIFF"
	}
	return e
}

// extra reads what the samples behind the colours are (TIFF 6.0 section 18).
// The first alpha counts; everything else is passed over with one warning.
func (f *File) extra(d *ifd.Dir, colours int) error {
	m := &f.form
	extras := m.samples - colours
	var kinds []uint64
	if e, ok := d.Get(tagExtraSamples); ok && e.Count > 0 {
		var err error
		if kinds, err = f.src.Uints(e, 65535); err != nil {
			return err
		}
	}
	if len(kinds) > extras {
		return codec.Errorf("ExtraSamples", codec.Damaged, "the file declares %d extra samples (ExtraSamples), but its pixels have %d (SamplesPerPixel %d)", len(kinds), extras, m.samples)
	}
	ignored := extras
	for i, k := range kinds {
		if k == 1 || k == 2 {
			m.alpha, m.alphaAt = [...]string{1: AlphaAssociated, 2: AlphaStraight}[k], colours+i
			ignored--
			break
		}
	}
	if ignored == 0 {
		return nil
	}
	kind := "of no stated meaning"
	if slices.ContainsFunc(kinds, func(k uint64) bool { return k > 2 }) {
		kind = fmt.Sprintf("of unknown kind (ExtraSamples %d)", kinds)
	} else if len(kinds) > 1 && m.alpha != AlphaNone {
		kind = fmt.Sprintf("beyond its colours and its first alpha (ExtraSamples %d)", kinds)
	}
	sample, is := "samples", "are"
	if ignored == 1 {
		sample, is = "sample", "is"
	}
	f.info.Warn("each pixel has %d samples; %d extra %s %s %s ignored", m.samples, ignored, sample, kind, is)
	return nil
}

// perSample reads a field with one value a sample. A single value stands for
// all; exact says whether the count was right.
func (f *File) perSample(d *ifd.Dir, tag uint16, fallback uint64) (v []uint64, exact bool, err error) {
	e, ok := d.Get(tag)
	if !ok {
		return []uint64{fallback}, true, nil
	}
	if v, err = f.src.Uints(e, 65535); err != nil {
		return nil, false, err
	}
	if len(v) != f.form.samples && len(v) != 1 {
		return nil, false, codec.Errorf(tagNames[tag], codec.Damaged, "%s has %d values for %d samples a pixel", e, len(v), f.form.samples)
	}
	return v, len(v) == f.form.samples, nil
}

func (f *File) bits(d *ifd.Dir, photometric uint64) (int, error) {
	v, exact, err := f.perSample(d, tagBitsPerSample, 1)
	if err != nil {
		return 0, err
	}
	if _, ok := d.Get(tagBitsPerSample); !ok && (photometric > 1 || f.form.samples > 1) {
		return 0, codec.Errorf("BitsPerSample", mendPlain, "the file doesn't say how many bits a sample has (BitsPerSample is missing)")
	}
	for _, b := range v[1:] {
		if b != v[0] {
			return 0, codec.Errorf("BitsPerSample", mendPlain, "the channels differ in depth (BitsPerSample %d)", v)
		}
	}
	may := []uint64{1, 2, 4, 8, 12, 16, 24, 32}
	switch {
	case f.form.float:
		may = []uint64{16, 24, 32, 64}
	case photometric == 3:
		may = []uint64{1, 2, 4, 8, 12, 16}
	}
	if !slices.Contains(may, v[0]) {
		kind := "whole numbers"
		if f.form.float {
			kind = "floating-point numbers"
		} else if photometric == 3 {
			kind = "numbers of palette colours"
		}
		return 0, codec.Errorf("BitsPerSample", "save it again with 16 bits a channel", "%d bits a sample (BitsPerSample); %s of %d bits are read", v[0], kind, may)
	}
	if !exact {
		f.info.Warn("BitsPerSample stands once for %d channels; taken for each of them", f.form.samples)
	}
	return int(v[0]), nil
}

// floats reads whether the samples are floating-point numbers.
func (f *File) floats(d *ifd.Dir) (bool, error) {
	v, _, err := f.perSample(d, tagSampleFormat, 1)
	if err != nil {
		return false, err
	}
	for _, k := range v {
		if k != 1 && k != 3 {
			name := nameOf(map[uint64]string{2: "signed whole numbers", 4: "numbers of undefined kind",
				5: "complex numbers", 6: "complex numbers"}, k, "numbers of unknown kind")
			return false, codec.Errorf("SampleFormat", "save it again with 16 bits a channel", "the samples are %s (SampleFormat %d); unsigned whole and floating-point numbers are read", name, k)
		}
		if k != v[0] {
			return false, codec.Errorf("SampleFormat", mendPlain, "the channels differ in kind (SampleFormat %d)", v)
		}
	}
	if v[0] == 3 && f.info.Palette {
		return false, codec.Errorf("SampleFormat", "save it again as RGB", "palette colours are numbered with floating-point numbers (SampleFormat 3)")
	}
	return v[0] == 3, nil
}

// colourMap reads tag 320: all reds, then greens, then blues, 16 bits each.
func (f *File) colourMap(d *ifd.Dir) error {
	n := 1 << f.form.bits
	e, ok := d.Get(tagColorMap)
	if !ok {
		return codec.Errorf("ColorMap", codec.Damaged, "a palette picture without a palette (ColorMap is missing)")
	}
	if e.Type != ifd.Short || e.Count != uint64(3*n) {
		return codec.Errorf("ColorMap", codec.Damaged, "%s has %d values of field type %d; %d colours need %d values of type %d", e, e.Count, e.Type, n, 3*n, ifd.Short)
	}
	v, err := f.src.Uints(e, uint64(3*n))
	if err != nil {
		return err
	}
	if most := slices.Max(v); most > 0 && most < 256 {
		return codec.Errorf("ColorMap", "save it again as RGB", "the palette's brightest number is %d of 65535 (ColorMap): either the picture is nearly black, or it was written with 8-bit numbers by mistake", most)
	}
	f.form.palette = new([3][]uint16)
	for c := range f.form.palette {
		p := make([]uint16, n)
		for i := range p {
			p[i] = uint16(v[c*n+i])
		}
		f.form.palette[c] = p
	}
	return nil
}
