package master

import (
	"bufio"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math/big"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"platemark/interp/disk"
	"platemark/ops/codec/jpegin"
	"platemark/ops/codec/meta"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
	"platemark/ops/exact"
	"platemark/ops/raster"
)

// Adopted says what adopting a JPEG file did.
type Adopted struct {
	From    string     `json:"from"`
	FromSum raster.Sum `json:"-"`
	To      string     `json:"to"`
	ToSum   raster.Sum `json:"-"`

	FromSHA256 string `json:"from-sha256"`
	ToSHA256   string `json:"to-sha256"`

	Width    int    `json:"width"` // of the TIFF file, upright
	Height   int    `json:"height"`
	Channels int    `json:"channels"`
	Source   string `json:"source"`  // how the JPEG file was stored
	Decoder  string `json:"decoder"` // what decoded it
	Profile  string `json:"profile"` // its name, "" where there is none
	PPI      string `json:"ppi"`     // "" where there is none
	Title    string `json:"title"`
	Rights   string `json:"rights"`

	// Notes are sentences about what was done or left out.
	Notes []string `json:"notes"`
	// Recipe is the line for a recipe beside the TIFF file.
	Recipe string `json:"recipe"`
}

// AdoptWarning is what must be known about every adopted file.
const AdoptWarning = "Decoding a JPEG differs between decoders and their releases, so the TIFF is the master from now on: keep it with the recipe."

// Adopt decodes a JPEG file once and writes what it holds as a 16-bit TIFF
// file: pixels upright, profile as it is, resolution, title and rights where
// they are plain. to is the new file; "" puts it beside the JPEG file. Nothing
// is overwritten. space, if not "", is the space of a file without a profile: its
// profile is written into the TIFF.
func Adopt(ctx context.Context, from, to, space string) (*Adopted, error) {
	if to == "" {
		to = strings.TrimSuffix(from, filepath.Ext(from)) + ".tif"
	}
	if ext := strings.ToLower(filepath.Ext(to)); ext != ".tif" && ext != ".tiff" {
		return nil, fmt.Errorf("%s: what is written is a TIFF file, and its name ends with .tif", to)
	}
	in, err := newInput("", from, from, false)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", from, err)
	}
	defer in.Close()
	a, err := adopt(ctx, in, to, space)
	if err != nil && !errors.Is(err, context.Canceled) {
		err = fmt.Errorf("%s: %w", from, err)
	}
	return a, err
}

func adopt(ctx context.Context, in *Input, to, space string) (*Adopted, error) {
	f, from := in.file, in.Found
	head, err := firstBytes(f, in.Size)
	if err != nil {
		return nil, err
	}
	switch kind := fileKind(head); kind {
	case kindJPEG:
	case kindTIFF, kindPNG:
		return nil, fmt.Errorf("it is %s, which can be a master as it is", kind)
	case "":
		return nil, errors.New("it isn't a JPEG file, whatever its name ends in")
	default:
		return nil, &KindError{"it is " + kind, mendKind}
	}
	if err := disk.Absent(to); err != nil {
		return nil, err
	}
	if in.Sum, err = hashFile(ctx, f, in.Size, nil); err != nil {
		return nil, err
	}
	info, err := jpegin.Open(f, in.Size)
	if err != nil {
		return nil, err
	}
	if err := info.Decodable(); err != nil {
		return nil, err
	}
	img, err := jpeg.Decode(&patient{ctx, io.NewSectionReader(f, 0, in.Size)})
	if err != nil {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if other := jpeg.UnsupportedError(""); errors.As(err, &other) {
			return nil, fmt.Errorf("its picture is stored in a way that isn't read (%s): the file is not damaged; export the picture again as TIFF, or as an ordinary JPEG", string(other))
		}
		return nil, fmt.Errorf("its picture can't be decoded (%v): take it from a backup, or export it again", err)
	}
	if err := in.Same(ctx); err != nil {
		return nil, err
	}
	px, err := newPixels(img)
	if err != nil {
		return nil, err
	}
	if px.w != info.W || px.h != info.H {
		return nil, fmt.Errorf("its head says %d x %d pixels, and %d x %d were decoded", info.W, info.H, px.w, px.h)
	}

	a := &Adopted{From: from, FromSum: in.Sum, FromSHA256: in.Sum.String(), To: to, Channels: px.c,
		Decoder: "image/jpeg of " + runtime.Version(), Source: jpegSource(info), Notes: info.Warnings}
	if px.smoothed {
		a.Decoder += ", with the colour differences interpolated linearly"
	}
	icc, err := spaceProfile(info, px.c, space)
	if err != nil {
		return nil, err
	}
	if space != "" {
		if says := info.Space; says != "" && says != space {
			a.note("the camera says %s (Exif), and %s was asked for", says, space)
		}
		info.ICC = icc
	}
	o := a.options(info)
	a.Width, a.Height = px.upright(info.Orientation)
	if info.Orientation != 1 {
		a.note("the pixels were turned upright, as the file's orientation %d says; the TIFF file needs no turning", info.Orientation)
	}
	o.W, o.H, o.C, o.Bits = a.Width, a.Height, px.c, 16
	for _, other := range info.Others {
		a.note("left out: %s", other)
	}
	l, err := tiff.NewLayout(o)
	if err != nil {
		return nil, err
	}
	h := sha256.New()
	err = disk.Make(to, false, func(w *os.File) error {
		out := bufio.NewWriterSize(io.MultiWriter(w, h), 1<<20)
		if _, err := out.Write(l.Header()); err != nil {
			return err
		}
		row, buf := make([]uint16, a.Width*px.c), []byte(nil)
		for y := range a.Height {
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			px.row(row, y, info.Orientation)
			buf = l.AppendRow(buf[:0], row, y)
			if _, err := out.Write(buf); err != nil {
				return err
			}
		}
		if _, err := out.Write(l.Trailer()); err != nil {
			return err
		}
		return out.Flush()
	})
	if err != nil {
		return nil, err
	}
	h.Sum(a.ToSum[:0])
	a.ToSHA256 = a.ToSum.String()
	return a, nil
}

// jpegSource tells how a JPEG picture is stored.
func jpegSource(in jpegin.Info) string {
	s := fmt.Sprintf("%d x %d px, 8 bits, %s", in.W, in.H, in.Kind)
	if in.Sampling != "" && in.Sampling != "other" {
		s += ", colour differences " + in.Sampling
	}
	return s
}

func (a *Adopted) note(format string, v ...any) { a.Notes = append(a.Notes, fmt.Sprintf(format, v...)) }

// options takes over what the JPEG file says about its picture, and writes the
// recipe's line.
func (a *Adopted) options(in jpegin.Info) tiff.Options {
	o := tiff.Options{ICC: in.ICC}
	a.Recipe = fmt.Sprintf("master %q", filepath.Base(a.To))
	switch {
	case in.ICC != nil:
		p, err := colour.Parse(in.ICC)
		if err != nil {
			a.Profile = "one that can't be used"
			a.note("the profile was kept as it is, but a recipe can't use it: %v", err)
			break
		}
		a.Profile = p.Description()
		if p.Channels() != a.Channels {
			a.note("the picture is %s, but its profile is for %s; a recipe will refuse that", ChannelWord(a.Channels), ChannelWord(p.Channels()))
		}
	default:
		space, words := Untagged(a.Channels, in.Bits, in.Space)
		a.Recipe = RecipeLine("master", filepath.Base(a.To), space)
		a.note("the file has no profile, so the recipe must say its space; %s. With --space %s adopt writes the profile into the TIFF", words, space)
	}
	switch {
	case in.XPPI == nil:
	case in.XPPI.Cmp(in.YPPI) != 0:
		a.note("the resolution differs across and down (%s and %s pixels an inch) and was left out", in.XPPI.FloatString(2), in.YPPI.FloatString(2))
	default:
		if n, d, ok := meta.Rational(in.XPPI); ok {
			o.PPI = big.NewRat(int64(n), int64(d))
			a.PPI = exact.Decimals(o.PPI, 2)
		}
	}
	take := func(what, text string) string {
		if err := meta.Check(what, text); err != nil {
			a.note("left out: %v", err)
			return ""
		}
		return text
	}
	a.Title, a.Rights = take("the title", in.Title), take("the note of rights", in.Rights)
	o.Title, o.Rights, o.XMP = a.Title, a.Rights, meta.XMP(a.Title, a.Rights)
	return o
}

// spaceProfile is the profile of the space that a file without one is said to be
// in; nil without a space.
func spaceProfile(in jpegin.Info, channels int, space string) ([]byte, error) {
	if space == "" {
		return nil, nil
	}
	p, ok := colour.Space(space)
	switch {
	case !ok:
		return nil, fmt.Errorf("there is no space named %s; there is: %s", space, strings.Join(colour.SpaceNames(), ", "))
	case in.ICC != nil:
		return nil, errors.New("it carries a profile of its own, which goes into the TIFF: leave --space out")
	case p.Channels() != channels:
		return nil, fmt.Errorf("the picture is %s, and the space %s is for %s; there is: %s", ChannelWord(channels), space, ChannelWord(p.Channels()), strings.Join(SpacesFor(channels), ", "))
	}
	return p.Bytes(), nil
}

// patient is a reader that ends with its context.
type patient struct {
	ctx context.Context
	r   io.Reader
}

func (p *patient) Read(b []byte) (int, error) {
	if err := p.ctx.Err(); err != nil {
		return 0, err
	}
	return p.r.Read(b)
}

// pixels gives the decoded samples of a JPEG picture as 16-bit numbers.
type pixels struct {
	w, h, c  int
	smoothed bool // the colour differences are stored at a smaller size
	at       func(dst []uint16, x, y int)
}

// newPixels knows the kinds of pictures that the library's decoder gives for
// grey, YCbCr and RGB.
func newPixels(img image.Image) (*pixels, error) {
	r := img.Bounds()
	p := &pixels{w: r.Dx(), h: r.Dy(), c: 3}
	switch m := img.(type) {
	case *image.Gray:
		p.c = 1
		p.at = func(dst []uint16, x, y int) { dst[0] = uint16(m.Pix[y*m.Stride+x]) * 257 }
	case *image.RGBA:
		p.at = func(dst []uint16, x, y int) {
			s := m.Pix[y*m.Stride+4*x:]
			dst[0], dst[1], dst[2] = uint16(s[0])*257, uint16(s[1])*257, uint16(s[2])*257
		}
	case *image.YCbCr:
		d, ok := newDifferences(m)
		if !ok {
			return nil, fmt.Errorf("its colour differences are stored in a way that isn't read (%v)", m.SubsampleRatio)
		}
		p.smoothed = d.across*d.down > 1
		p.at = d.rgb
	default:
		return nil, fmt.Errorf("it was decoded as %T, which isn't read", img)
	}
	return p, nil
}

// upright is the size of the picture turned as the orientation says.
func (p *pixels) upright(orientation int) (w, h int) {
	if orientation >= 5 {
		return p.h, p.w
	}
	return p.w, p.h
}

// row is row y of the upright picture.
func (p *pixels) row(dst []uint16, y, orientation int) {
	w, h := p.w-1, p.h-1
	for x := 0; len(dst) > 0; x++ {
		sx, sy := x, y
		switch orientation {
		case 2:
			sx = w - x
		case 3:
			sx, sy = w-x, h-y
		case 4:
			sy = h - y
		case 5:
			sx, sy = y, x
		case 6:
			sx, sy = y, h-x
		case 7:
			sx, sy = w-y, h-x
		case 8:
			sx, sy = w-y, x
		}
		p.at(dst, sx, sy)
		dst = dst[p.c:]
	}
}
