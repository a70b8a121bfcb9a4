package png

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"math/big"

	"platemark/ops/codec"
	"platemark/ops/codec/exif"
	"platemark/ops/exact"
)

// describe takes the properties from the chunks but IHDR and IDAT.
func (f *File) describe(data map[string][]byte) error {
	if err := f.colours(data); err != nil {
		return err
	}
	if err := f.colourSpace(data); err != nil {
		return err
	}
	if b, ok := data["pHYs"]; ok {
		if len(b) != 9 {
			return badLength("pHYs", b, 9)
		}
		x, y := be.Uint32(b), be.Uint32(b[4:])
		switch {
		case b[8] != 1:
			f.info.Warn("the resolution has no unit (pHYs); the file is taken as without resolution")
		case x == 0 || y == 0:
			f.info.Warn("the resolution is %d x %d pixels a metre (pHYs); the file is taken as without resolution", x, y)
		default:
			f.info.XPPI, f.info.YPPI = perInch(x), perInch(y)
		}
	}
	if b, ok := data["eXIf"]; ok {
		x, err := exif.Read(b)
		if err != nil {
			return codec.Errorf("eXIf", mendSave, "the Exif block (eXIf) can't be read, so that it isn't known which way up the picture stands: %v", err)
		}
		f.info.Orientation = x.Orientation
		f.info.Warnings = append(f.info.Warnings, x.Warnings...)
	}
	if b, ok := data["acTL"]; ok && len(b) == 8 {
		f.info.Others = append(f.info.Others, fmt.Sprintf("an animation of %d frames", be.Uint32(b)))
	}
	return nil
}

func badLength(name string, b []byte, want int) error {
	return codec.Errorf(name, codec.Damaged, "the chunk %s has %d bytes, where %d must stand", name, len(b), want)
}

// colours takes the palette and what is transparent.
func (f *File) colours(data map[string][]byte) error {
	plte, hasPalette := data["PLTE"]
	if f.colour == 3 {
		if !hasPalette || len(plte) == 0 || len(plte)%3 != 0 || len(plte)/3 > 1<<f.depth {
			return codec.Errorf("PLTE", codec.Damaged, "the palette has %d bytes; it must have 3 for each of 1 to %d colours", len(plte), 1<<f.depth)
		}
		f.palette = plte
		f.info.Palette = len(plte) / 3
	} else if hasPalette && f.info.Channels == 1 {
		return codec.Errorf("PLTE", codec.Damaged, "a grey picture has a palette")
	}
	trns, ok := data["tRNS"]
	if !ok {
		return nil
	}
	want := map[int]int{0: 2, 2: 6}[f.colour]
	switch {
	case f.colour >= 4:
		return codec.Errorf("tRNS", mendSave, "the picture has an alpha channel and a transparent colour (tRNS) besides")
	case f.colour == 3:
		if len(trns) > len(plte)/3 {
			return codec.Errorf("tRNS", codec.Damaged, "the transparency (tRNS) is for %d colours of a palette of %d", len(trns), len(plte)/3)
		}
		if len(bytes.Trim(trns, "\xff")) == 0 {
			return nil // every colour is opaque
		}
		f.info.Alpha, f.info.AlphaAs = "straight", "transparent colours in the palette"
	case len(trns) != want:
		return badLength("tRNS", trns, want)
	default:
		f.info.Alpha, f.info.AlphaAs = "straight", "one colour that stands for transparent"
	}
	f.trns = trns
	return nil
}

// colourSpace finds what the samples mean as colours: cICP counts before iCCP,
// that before sRGB, and that before gAMA and cHRM (third edition, 4.3).
func (f *File) colourSpace(data map[string][]byte) error {
	in := &f.info
	if b, ok := data["cICP"]; ok {
		if len(b) != 4 {
			return badLength("cICP", b, 4)
		}
		if b[2] != 0 || b[3] > 1 {
			return codec.Errorf("cICP", mendSave, "the chunk cICP names matrix %d and range %d; PNG has matrix 0 and range 0 or 1", b[2], b[3])
		}
		if b[3] == 0 {
			return codec.Errorf("cICP", "save it again in full range", "black and white don't stand at the ends of the numbers (cICP: video range)")
		}
		space := map[[2]byte]string{{1, 13}: "sRGB", {12, 13}: "Display-P3"}[[2]byte{b[0], b[1]}]
		if space != "" {
			in.Says = space + ", by its numbers (cICP " + cicp(b) + ")"
			f.space(space)
			return nil
		}
		in.Says = "colour numbers " + cicp(b) + " (cICP), which name no space that is known here"
		// Of the curves of ITU-T H.273, table 3, those that no space of a print has.
		if how := map[byte]string{8: "linear", 16: "by the curve PQ", 18: "by the curve HLG"}[b[1]]; how != "" {
			in.Says += "; its tones are stored " + how + ", as in none of a recipe's spaces: save it again in one of those"
		}
		if _, ok := data["iCCP"]; ok {
			f.info.Warn("the file says its colours twice: the numbers %s (cICP), which aren't known here, and an embedded profile, which is used", cicp(b))
		}
	}
	if b, ok := data["iCCP"]; ok {
		icc, name, err := profile(b)
		if err != nil {
			return err
		}
		in.ICC, in.Says = icc, fmt.Sprintf("embedded profile %q", name)
		return nil
	}
	if in.Says != "" {
		return nil
	}
	if b, ok := data["sRGB"]; ok {
		if len(b) != 1 {
			return badLength("sRGB", b, 1)
		}
		in.Says = "sRGB (chunk sRGB)"
		f.space("sRGB")
		return nil
	}
	if b, ok := data["gAMA"]; ok {
		if len(b) != 4 {
			return badLength("gAMA", b, 4)
		}
		in.Says = "gamma " + decimal(be.Uint32(b)) + " (gAMA)"
	}
	if b, ok := data["cHRM"]; ok {
		if len(b) != 32 {
			return badLength("cHRM", b, 32)
		}
		if in.Says != "" {
			in.Says += ", "
		}
		for i, n := range []string{"white", "red", "green", "blue"} {
			if i > 0 {
				in.Says += ", "
			}
			in.Says += fmt.Sprintf("%s (%s, %s)", n, decimal(be.Uint32(b[8*i:])), decimal(be.Uint32(b[8*i+4:])))
		}
		in.Says += " (cHRM)"
	}
	if in.Says != "" {
		in.Says += "; that names no colour space"
	}
	return nil
}

// space takes a space's name for a picture in RGB. Grey with the curve of an
// RGB space has no name of its own.
func (f *File) space(name string) {
	if f.info.Channels == 1 {
		f.info.Says += "; the picture is grey, and grey with that curve names no colour space"
		return
	}
	f.info.Space = name
}

func cicp(b []byte) string { return fmt.Sprintf("%d/%d/%d/%d", b[0], b[1], b[2], b[3]) }

// decimal writes 100000ths.
func decimal(v uint32) string {
	s := fmt.Sprintf("%d.%05d", v/100000, v%100000)
	for s[len(s)-1] == '0' && s[len(s)-2] != '.' {
		s = s[:len(s)-1]
	}
	return s
}

// profile unpacks an iCCP chunk. The profile's own first four bytes say how
// long it is, and it must be just that long.
func profile(b []byte) (icc []byte, name string, err error) {
	i := bytes.IndexByte(b, 0)
	if i < 1 || i > 79 || i+2 > len(b) {
		return nil, "", codec.Errorf("iCCP", codec.Damaged, "the embedded profile (iCCP) has no name of 1 to 79 letters")
	}
	latin := make([]rune, 0, i)
	for _, c := range b[:i] {
		latin = append(latin, rune(c))
	}
	name = string(latin)
	if b[i+1] != 0 {
		return nil, "", codec.Errorf("iCCP", codec.Damaged, "the embedded profile is compressed by the unknown method %d", b[i+1])
	}
	fail := func(why string) ([]byte, string, error) {
		return nil, "", codec.Errorf("iCCP", "embed the profile again and save the picture", "the embedded profile %q can't be unpacked: %s", name, why)
	}
	z, err := zlib.NewReader(bytes.NewReader(b[i+2:]))
	if err != nil {
		return fail("its data are damaged")
	}
	var head [4]byte
	if _, err := io.ReadFull(z, head[:]); err != nil {
		return fail("its data are damaged or too short")
	}
	n := be.Uint32(head[:])
	if n < 128 || n > codec.MaxProfile || uint64(n) > uint64(len(b))*1032 {
		return fail(fmt.Sprintf("it claims %d bytes; a profile has 128 to %d, and the file holds %d compressed", n, codec.MaxProfile, len(b)))
	}
	icc = make([]byte, n)
	copy(icc, head[:])
	if _, err := io.ReadFull(z, icc[4:]); err != nil {
		return fail(fmt.Sprintf("it claims %d bytes, but its data are damaged or end before that", n))
	}
	if k, err := z.Read(head[:1]); k != 0 || err != io.EOF {
		return fail(fmt.Sprintf("it claims %d bytes, but its data go on, or don't fit their checksum", n))
	}
	return icc, name, nil
}

// perInch is exact: an inch is 0.0254 metres.
func perInch(metre uint32) *big.Rat {
	r := big.NewRat(127, 5000)
	return r.Mul(r, new(big.Rat).SetInt64(int64(metre)))
}

// perMetre is the whole number of pixels a metre that a PNG file stores for
// pixels an inch, rounded half up.
func perMetre(ppi *big.Rat) *big.Int {
	return exact.HalfUp(new(big.Rat).Quo(ppi, big.NewRat(127, 5000)))
}

// Shown is the resolution that was meant: where ppi is just what a whole
// number of pixels an inch comes to when it is stored as whole pixels a metre,
// that whole number, else ppi itself. 11811 pixels a metre, 299.9994 an inch,
// are shown as 300.
func Shown(ppi *big.Rat) *big.Rat {
	whole := new(big.Rat).SetInt(exact.HalfUp(ppi))
	if whole.Sign() > 0 {
		back := new(big.Rat).SetInt(perMetre(whole))
		if back.Mul(back, big.NewRat(127, 5000)).Cmp(ppi) == 0 {
			return whole
		}
	}
	return new(big.Rat).Set(ppi)
}
