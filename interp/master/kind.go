package master

import (
	"context"
	"fmt"
	"io"
	"strings"
	"sync"

	"platemark/interp/disk"
	"platemark/ops/codec"
	"platemark/ops/codec/jpegin"
	"platemark/ops/codec/png"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

// Picture is an input picture of any kind of file that can be a master.
type Picture struct {
	Reader string // "tiff" or "png"
	info   tiff.Info
	// decode hands all rows to emit, from the top, as 16-bit samples, some kinds as
	// they lie in into, if that isn't nil: the whole picture's room. report says in
	// sentences what was found in them: how many were clipped, say.
	decode func(ctx context.Context, workers int, into []uint16, emit emitter) (report []string, err error)

	once    sync.Once // of Profile
	profile *colour.Profile
	failed  error
}

type emitter = func(y0 int, rows []uint16) error

// Info tells of the picture in the words of TIFF.
func (p *Picture) Info() tiff.Info { return p.info }

// Profile is the one that the picture bears, which must bear one. All plans share it
// and its tables, some megabytes.
func (p *Picture) Profile() (*colour.Profile, error) {
	p.once.Do(func() { p.profile, p.failed = colour.Parse(p.info.ICC) })
	return p.profile, p.failed
}

// ProfileOf is the profile that a file is, or that a picture in it bears, TIFF,
// PNG or JPEG: nil for a file that is neither. A picture without a profile is an
// error.
func ProfileOf(path string) (*colour.Profile, error) {
	f, st, err := disk.Open(path)
	if err != nil {
		return nil, missing(path, err)
	}
	defer f.Close()
	head, err := firstBytes(f, st.Size())
	if err != nil {
		return nil, err
	}
	var icc []byte
	switch fileKind(head) {
	case kindProfile:
		icc, err = io.ReadAll(io.NewSectionReader(f, 0, min(st.Size(), MaxProfile)))
	case kindJPEG:
		var info jpegin.Info
		info, err = jpegin.Open(f, st.Size())
		icc = info.ICC
	case kindTIFF, kindPNG:
		var p *Picture
		if p, err = openPicture(f, st.Size(), path, true); err == nil {
			icc = p.info.ICC
		}
	default:
		return nil, nil
	}
	switch {
	case err != nil:
		return nil, err
	case icc == nil:
		return nil, fmt.Errorf("%s has no profile, so nothing says what its numbers mean", path)
	}
	return colour.Parse(icc)
}

// pngInfo says in the words of TIFF what a PNG file holds. A space that the
// file names by number is its built-in profile.
func pngInfo(in png.Info) tiff.Info {
	out := tiff.Info{Info: in.Info, Alpha: in.Alpha, Palette: in.Palette > 0, Compression: in.Compression, Layout: in.Layout}
	if p, ok := colour.Space(in.Space); ok {
		out.ICC = p.Bytes()
	}
	if out.ICC == nil && in.Says != "" {
		out.Warnings = append(out.Warnings, "the file has no profile, but says: "+in.Says)
	}
	return out
}

const alphaWarning = "the file has an alpha channel; building stops if anything in it is translucent (`on white` behind the master lays it on white)"

const otherAlpha = "the file has an alpha channel, which a %s doesn't use; building stops if anything in it is translucent (save the %s without alpha)"

// KindError says that a file is of a kind that can't be a master.
type KindError struct {
	Detail string // what it is
	Hint   string // what to do
}

func (e *KindError) Error() string { return e.Detail + ": " + e.Hint }

// openPicture opens a master or mask by its first bytes, whatever its name
// ends in. name is for the hint. With white a picture with alpha is laid on
// white; without, it must be opaque everywhere.
func openPicture(r io.ReaderAt, size int64, name string, white bool) (*Picture, error) {
	head, err := firstBytes(r, size)
	if err != nil {
		return nil, err
	}
	switch kind := fileKind(head); kind {
	case kindPNG:
		f, err := png.Open(r, size)
		if err != nil {
			return nil, err
		}
		p := &Picture{Reader: "png", info: pngInfo(f.Info())}
		if white {
			f = f.OnWhite()
		} else if p.info.Alpha != "" {
			p.info.Warnings = append(p.info.Warnings, alphaWarning)
		}
		p.decode = func(ctx context.Context, workers int, _ []uint16, emit emitter) ([]string, error) {
			return nil, f.Decode(ctx, workers, emit)
		}
		return p, nil
	case kindJPEG:
		return nil, &KindError{"it is a JPEG file, and programs decode those differently", "take it over once into a TIFF file: platemark adopt " + name}
	case kindProfile:
		return nil, &KindError{"it is a colour profile, not a picture", mendKind}
	case kindTIFF, "":
		f, err := tiff.Open(r, size)
		if err != nil {
			return nil, err // of an unknown file it says how it begins
		}
		opaque := !white && f.Info().Alpha != "" // it must be so
		if white {
			f = f.OnWhite()
		}
		p := &Picture{Reader: "tiff", info: f.Info()}
		if opaque {
			p.info.Warnings = append(p.info.Warnings, alphaWarning)
		}
		p.decode = func(ctx context.Context, workers int, into []uint16, emit emitter) ([]string, error) {
			c, err := f.Into(into).DecodeCounted(ctx, workers, emit)
			if err == nil && opaque && c.Translucent > 0 {
				err = codec.Errorf("alpha", "save it without alpha; a master can also be laid on white, by `on white` behind it",
					"the picture isn't opaque everywhere (%d of %d pixels are translucent), and what shines through isn't known", c.Translucent, c.Pixels)
			}
			return c.Warnings(), err
		}
		return p, nil
	default:
		return nil, &KindError{"it is " + kind, mendKind}
	}
}

// Untagged says what the recipe of a picture without a profile needs: the space
// that it very likely is in, "" where only its maker knows, and that in words.
// What came from 8 bits a sample was made for screens; deeper pictures come from
// programs that work in several spaces (common practice, no source). says is a
// space that the file names without a profile.
func Untagged(channels, bits int, says string) (space, words string) {
	switch {
	case says != "":
		return says, says + " is what the camera says (Exif)"
	case channels == 1:
		return "grey-2.2", "there is no other for grey pictures"
	case bits > 8:
		return "", "only who made it knows which; if it came from 8 bits, from a JPEG say, it is very likely sRGB"
	}
	return "sRGB", "it came from 8 bits, so sRGB is very likely, but you must know"
}

// SpacesFor are the built-in spaces of pictures with so many channels.
func SpacesFor(channels int) []string {
	var out []string
	for _, n := range colour.SpaceNames() {
		if p, ok := colour.Space(n); ok && p.Channels() == channels {
			out = append(out, n)
		}
	}
	return out
}

// SpacesText names them: "one of" several, or the only one.
func SpacesText(channels int) string {
	list := SpacesFor(channels)
	if len(list) == 1 {
		return list[0]
	}
	return "one of " + strings.Join(list, ", ")
}

// RecipeLine is the line for a picture without a profile, which begins with head;
// where its space isn't known, SPACE stands in its place, and no recipe takes that
// word.
func RecipeLine(head, path, space string) string {
	if space == "" {
		space = "SPACE"
	}
	return fmt.Sprintf("%s %s space %s", head, Quote(path), space)
}

// ChannelWord names a picture of so many channels: "grey" or "RGB".
func ChannelWord(c int) string {
	if c == 1 {
		return "grey"
	}
	return "RGB"
}

// Quote writes a text as a recipe does.
func Quote(s string) string {
	return `"` + strings.ReplaceAll(strings.ReplaceAll(s, `\`, `\\`), `"`, `\"`) + `"`
}

const mendKind = "export the picture as TIFF or PNG, 16 bits"

// firstBytes are up to 64 bytes of the head of a file.
func firstBytes(r io.ReaderAt, size int64) ([]byte, error) {
	b := make([]byte, min(64, max(size, 0)))
	n, err := r.ReadAt(b, 0)
	if n < len(b) && err != nil && err != io.EOF {
		return nil, disk.PlainError(err)
	}
	return b[:n], nil
}

// Kinds of files that are read.
const (
	kindTIFF    = "a TIFF file"
	kindPNG     = "a PNG file"
	kindJPEG    = "a JPEG file"
	kindProfile = "a colour profile"
	kindRecipe  = "a recipe"
	kindLog     = "an audit log"
	kindLedger  = "a list kept of a recipe (its register, its rounds, or finds dismissed)"
)

// magic are the first bytes of kinds of files, as their formats publish them;
// a ? stands for any byte.
var magic = []struct{ bytes, kind string }{
	{"\x89PNG\r\n\x1a\n", kindPNG},
	{"\xff\xd8\xff", kindJPEG},
	{"II*\x00", kindTIFF}, {"MM\x00*", kindTIFF}, {"II+\x00", kindTIFF}, {"MM\x00+", kindTIFF},
	{"????ftypavif", "an AVIF picture"}, {"????ftypavis", "an AVIF picture"},
	{"????ftyphei", "a HEIF picture"}, {"????ftyphev", "a HEIF picture"}, {"????ftypmif1", "a HEIF picture"}, {"????ftypmsf1", "a HEIF picture"},
	{"????ftyp", "a film, or a picture in a film's container"},
	{"GIF87a", "a GIF picture"}, {"GIF89a", "a GIF picture"},
	{"RIFF????WEBP", "a WebP picture"},
	{"\xff\x0a", "a JPEG XL picture"}, {"\x00\x00\x00\x0cJXL \r\n\x87\n", "a JPEG XL picture"},
	{"\x00\x00\x00\x0cjP  \r\n\x87\n", "a JPEG 2000 picture"}, {"\xff\x4f\xff\x51", "a JPEG 2000 picture"},
	{"II\xbc\x01", "a JPEG XR picture"},
	{"v/1\x01", "an OpenEXR picture"},
	{"%PDF-", "a PDF document"}, {"%!PS", "a PostScript document"},
	{"\x8aMNG", "an MNG film"}, {"\x8bJNG", "a JNG picture"},
	{"P1\n", "a PBM picture"}, {"P4\n", "a PBM picture"}, {"P2\n", "a PGM picture"}, {"P5\n", "a PGM picture"}, {"P3\n", "a PPM picture"}, {"P6\n", "a PPM picture"},
	{"SIMPLE  =", "a FITS picture"},
	{"PK\x03\x04", "a ZIP archive, or a document stored as one"}, {"\x1f\x8b", "a file compressed by gzip"},
	{"<svg", "an SVG drawing"},
	{"recipe ", kindRecipe}, {"{\"draft\":", kindLog}, {"{\"at\":\"", kindLedger},
}

// fileKind names the kind of file that begins with head, "" where it is unknown.
func fileKind(head []byte) string {
	for _, m := range magic {
		fits := len(head) >= len(m.bytes)
		for i := 0; fits && i < len(m.bytes); i++ {
			fits = m.bytes[i] == '?' || m.bytes[i] == head[i]
		}
		if fits {
			return m.kind
		}
	}
	switch {
	case len(head) == 0:
		return "an empty file"
	case len(head) >= 40 && string(head[36:40]) == "acsp":
		return kindProfile
	case len(head) >= 14 && string(head[:2]) == "BM" && string(head[6:10]) == "\x00\x00\x00\x00":
		return "a BMP picture"
	}
	return ""
}

// NotRecipe says what a file is that was taken for a recipe, and what to type; ""
// where it may be one, or can't be read.
func NotRecipe(path string) string {
	switch kind := kindOf(path); kind {
	case "", kindRecipe:
		return ""
	case kindTIFF, kindPNG:
		return "it is " + kind + "; platemark new " + disk.Typed(path) + " writes a first recipe for it"
	case kindLog:
		return "it is " + kind + "; platemark reprint " + disk.Typed(path) + " makes its print again"
	default:
		return "it is " + kind
	}
}

// NotLog says what a file is that was taken for an audit log; "" where it may be one,
// is a recipe, or can't be read.
func NotLog(path string) string {
	switch kind := kindOf(path); kind {
	case "", kindRecipe, kindLog:
		return ""
	case kindLedger:
		return "this is " + kind + ", not an audit log; `platemark register verify RECIPE` verifies a register, `platemark rounds RECIPE` lists the rounds"
	default:
		return "this is " + kind + ", not an audit log"
	}
}

// NotTable says what a file is that was taken for a table of measurements; "" where
// it may be one, or can't be read.
func NotTable(path string) string {
	if kind := kindOf(path); kind != "" {
		return "this is " + kind + ", not a table of measurements"
	}
	return ""
}

// kindOf is fileKind of a file that isn't empty; "" where it can't be read.
func kindOf(path string) string {
	f, st, err := disk.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	head, err := firstBytes(f, st.Size())
	if err != nil || len(head) == 0 {
		return ""
	}
	return fileKind(head)
}
