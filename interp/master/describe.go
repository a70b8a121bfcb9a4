package master

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/big"
	"os"
	"path/filepath"
	"strings"

	"platemark/interp/disk"
	"platemark/ops/codec"
	"platemark/ops/codec/jpegin"
	"platemark/ops/codec/png"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
	"platemark/ops/exact"
)

// Description says in plain words what matters of a file for printing.
type Description struct {
	File  string `json:"file"`
	Kind  string `json:"kind"`
	Bytes int64  `json:"bytes"`

	// Of pictures; as stored, before the orientation.
	Width    int    `json:"width,omitempty"`
	Height   int    `json:"height,omitempty"`
	Colour   string `json:"colour,omitempty"` // "grey", "RGB", "CMYK"
	Bits     int    `json:"bits,omitempty"`   // a stored sample
	Float    bool   `json:"float,omitempty"`  // stored as floating-point numbers
	Stored   string `json:"stored,omitempty"` // compression and layout
	BitsUsed int    `json:"bits-used,omitempty"`
	// Depth tells how the depth is used, Neutral that an RGB picture has no
	// colour in it.
	Depth       string `json:"depth,omitempty"`
	Neutral     bool   `json:"neutral,omitempty"`
	Orientation int    `json:"orientation,omitempty"`
	Alpha       string `json:"alpha,omitempty"`
	PPI         string `json:"ppi,omitempty"` // as shown: "300", "300 x 299.5"

	// Profile is the embedded profile's name, or for a file that is a profile
	// its own; Says is what the file says about its colours otherwise.
	Profile string `json:"profile,omitempty"`
	Says    string `json:"says,omitempty"`
	// Class tells what a profile is for and how it is made.
	Class string `json:"class,omitempty"`
	// Of a file that is a profile: White and Black as they look beside D50,
	// Intents for which it has tables, Gamut as its volume, and Use where it
	// isn't for every one.
	White   string `json:"white,omitempty"`
	Black   string `json:"black,omitempty"`
	Intents string `json:"intents,omitempty"`
	Gamut   string `json:"gamut,omitempty"`
	Use     string `json:"use,omitempty"`

	Sizes    []PrintSize `json:"sizes,omitempty"`
	Others   []string    `json:"others,omitempty"`
	Warnings []string    `json:"warnings,omitempty"`

	// Recipe is the line for a recipe beside the file, "" where it can't stand
	// in one yet; Needs says what must be done first or besides.
	Recipe string   `json:"recipe,omitempty"`
	Needs  []string `json:"needs,omitempty"`

	// Refused says why the file can't be read, "" where it can.
	Refused string `json:"refused,omitempty"`
}

// PrintSize is the upright picture's size on paper when none of its pixels is
// made up or left out.
type PrintSize struct {
	PPI      int    `json:"ppi"`
	WidthIn  string `json:"width-in"`
	HeightIn string `json:"height-in"`
	WidthCM  string `json:"width-cm"`
	HeightCM string `json:"height-cm"`
}

// Describe looks at a picture or profile, reading all its pixels. The error is
// for files that can't be opened; what is wrong inside a file stands in
// Refused.
func Describe(ctx context.Context, path string, workers int) (*Description, error) {
	f, st, err := disk.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, disk.PlainError(err))
	}
	defer f.Close()
	head, err := firstBytes(f, st.Size())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	d := &Description{File: path, Bytes: st.Size(), Kind: fileKind(head)}
	r := &describer{ctx: ctx, d: d, f: f, workers: workers, line: fmt.Sprintf("master %q", filepath.Base(path))}
	switch d.Kind {
	case kindTIFF:
		err = r.tiff()
	case kindPNG:
		err = r.png()
	case kindJPEG:
		err = r.jpeg()
	case kindProfile:
		err = r.profile()
	case "":
		d.Kind = "a file of unknown kind"
		err = errors.New("it is neither a TIFF, PNG or JPEG picture nor a colour profile")
	default:
		d.Needs = append(d.Needs, mendKind)
		err = errors.New("files of this kind aren't read")
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if err != nil {
		d.Refused, d.Recipe = err.Error(), ""
	}
	return d, nil
}

type describer struct {
	ctx     context.Context
	d       *Description
	f       *os.File
	workers int
	line    string
}

func (r *describer) need(format string, a ...any) {
	r.d.Needs = append(r.d.Needs, fmt.Sprintf(format, a...))
}

func (r *describer) tiff() error {
	f, err := tiff.Open(r.f, r.d.Bytes)
	if err != nil {
		return err
	}
	in := f.Info()
	r.head(in)
	r.d.Stored = in.Compression + ", " + in.Layout
	if in.BigTIFF {
		r.d.Kind = "a BigTIFF file"
	}
	var u depthUse
	u.start(in.Channels)
	c, err := f.DecodeCounted(r.ctx, r.workers, u.rows)
	if err != nil {
		return err
	}
	r.d.Warnings = append(r.d.Warnings, c.Warnings()...)
	if in.Alpha != "" {
		r.alpha("an alpha channel, "+map[string]string{tiff.AlphaStraight: "beside the colours", tiff.AlphaAssociated: "multiplied into the colours"}[in.Alpha], c.Translucent == 0)
	}
	r.used(&u, in)
	r.colours(in.ICC, in.Channels, "")
	return nil
}

func (r *describer) png() error {
	f, err := png.Open(r.f, r.d.Bytes)
	if err != nil {
		return err
	}
	in := f.Info()
	words := pngInfo(in)
	words.Warnings = in.Warnings
	r.head(words)
	r.d.Stored = in.Compression + ", " + in.Layout
	r.d.Says = in.Says
	var u depthUse
	u.start(in.Channels)
	err = f.Decode(r.ctx, r.workers, u.rows)
	var ce *codec.Error
	if in.Alpha != "" {
		clear := errors.As(err, &ce) && ce.Property == "alpha"
		if clear {
			// Whatever is behind it, the rest of the file must be whole.
			err = f.OnWhite().Decode(r.ctx, r.workers, func(int, []uint16) error { return nil })
			u = depthUse{}
		}
		r.alpha(in.AlphaAs, !clear)
	}
	if err != nil {
		return err
	}
	r.used(&u, words)
	if in.Space != "" {
		r.d.Profile = in.Space
		r.d.Recipe = r.line
		return nil
	}
	r.colours(in.ICC, in.Channels, "")
	return nil
}

func (r *describer) alpha(as string, opaque bool) {
	if opaque {
		r.d.Alpha = as + "; every pixel is opaque"
		return
	}
	r.d.Alpha = as + "; parts of the picture are translucent"
	r.need("flatten it and save it without transparency: what shines through isn't known")
}

func (r *describer) jpeg() error {
	in, err := jpegin.Open(r.f, r.d.Bytes)
	if err != nil {
		return err
	}
	r.head(tiff.Info{Info: in.Info})
	r.d.Stored = in.Kind
	if in.Sampling != "" && in.Sampling != "other" {
		r.d.Stored += ", colour differences " + in.Sampling
	}
	if in.Space != "" {
		r.d.Says = in.Space + ", by the camera (Exif)"
	}
	if err := in.Decodable(); err != nil {
		return err
	}
	r.colours(in.ICC, in.Channels, in.Space)
	r.d.Recipe = "" // the TIFF file stands in the recipe
	r.d.Needs = append([]string{"a JPEG can't be a master; take it over once into a TIFF file: platemark adopt " + disk.Typed(r.d.File)}, r.d.Needs...)
	return nil
}

// head says what all pictures have.
func (r *describer) head(in tiff.Info) {
	d := r.d
	d.Width, d.Height, d.Bits, d.Float, d.Orientation = in.W, in.H, in.Bits, in.Float, in.Orientation
	d.Colour = map[int]string{1: "grey", 3: "RGB", 4: "CMYK"}[in.Channels]
	if in.Palette {
		d.Colour = "RGB from a palette"
	}
	d.Others, d.Warnings = in.Others, in.Warnings
	if in.XPPI != nil && in.YPPI != nil {
		d.PPI = exact.Decimals(png.Shown(in.XPPI), 2)
		if y := exact.Decimals(png.Shown(in.YPPI), 2); y != d.PPI {
			d.PPI += " x " + y
		}
	}
	w, h := in.W, in.H
	if in.Orientation >= 5 {
		w, h = h, w
	}
	for _, ppi := range []int{300, 240, 180} {
		inch := func(n int) string { return big.NewRat(int64(n), int64(ppi)).FloatString(1) }
		cm := func(n int) string { return big.NewRat(int64(n)*254, int64(ppi)*100).FloatString(1) }
		d.Sizes = append(d.Sizes, PrintSize{ppi, inch(w), inch(h), cm(w), cm(h)})
	}
}

// colours says what the picture's numbers mean and what the recipe then needs.
// guess is a space that the file hints at.
func (r *describer) colours(icc []byte, channels int, guess string) {
	r.d.Recipe = r.line
	if icc == nil {
		bits := r.d.Bits
		if r.d.BitsUsed == 8 { // widened
			bits = 8
		}
		space, words := Untagged(channels, bits, guess)
		r.d.Recipe = RecipeLine("master", filepath.Base(r.d.File), space)
		r.need("it carries no profile: the recipe must say its space, %s; %s", SpacesText(channels), words)
		return
	}
	p, err := colour.Parse(icc)
	if err != nil {
		r.d.Profile = "one that can't be used"
		r.d.Recipe = ""
		r.need("%v; convert the picture to a profile such as opRGB or ROMM-RGB and save it again", err)
		return
	}
	r.d.Profile = p.Description()
	r.profileNote(p)
	if p.Channels() != channels {
		r.d.Recipe = ""
		r.need("the picture is %s, but its profile is for %s; save it again with a profile that fits", ChannelWord(channels), p.Device())
	}
}

func (r *describer) profile() error {
	if r.d.Bytes > MaxProfile {
		return fmt.Errorf("it has %d bytes; a profile has at most %d", r.d.Bytes, MaxProfile)
	}
	b := make([]byte, r.d.Bytes)
	if _, err := r.f.ReadAt(b, 0); err != nil && err != io.EOF {
		return disk.PlainError(err)
	}
	p, err := colour.Parse(b)
	if err != nil {
		return err
	}
	r.d.Profile, r.d.Colour = p.Description(), p.Device()
	how := "colorants and curves"
	switch {
	case p.HasTables():
		how = "tables"
	case p.Channels() == 1:
		how = "a curve"
	}
	r.d.Class = fmt.Sprintf("%s profile, version %d, of %s", p.Class(), b[8], how)
	r.profileNote(p)
	if white, black, err := p.Ends(); err == nil {
		r.d.White, r.d.Black = labText(white), labText(black)
	}
	r.d.Intents = "relative and absolute; without tables the others are as relative"
	if own := p.Intents(); len(own) > 0 {
		var words []string
		for _, i := range own {
			words = append(words, i.String())
		}
		r.d.Intents = "tables for " + strings.Join(words, ", ")
	}
	if v, err := p.GamutVolume(); err == nil && v > 0 {
		srgb, _ := colour.Space("sRGB")
		of, _ := srgb.GamutVolume()
		r.d.Gamut = fmt.Sprintf("%.2f million cubic units of CIELAB (sRGB has %.2f)", v/1e6, of/1e6)
	}
	if p.Channels() == 4 {
		r.d.Use = "look only: a proof shows what this press makes of a print; pictures are made in RGB or grey"
	}
	return nil
}

func (r *describer) profileNote(p *colour.Profile) {
	if n := p.Note(); n != "" {
		r.d.Warnings = append(r.d.Warnings, n)
	}
}

// labText writes a colour as it looks beside D50.
func labText(c colour.Lab) string {
	return strings.ReplaceAll(fmt.Sprintf("L* %.1f, a* %.1f, b* %.1f", c.L, c.A, c.B), "-0.0", "0.0")
}
