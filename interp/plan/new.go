package plan

import (
	"bytes"
	"context"
	"fmt"
	"math/big"
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"

	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/lang"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
	"platemark/ops/exact"
)

// usualSizes are print sizes that are asked for often, longer side first.
var usualSizes = []struct {
	long, short int
	unit        string
}{
	{12, 8, "in"}, {18, 12, "in"}, {24, 16, "in"}, {30, 20, "in"}, {45, 30, "in"}, {60, 40, "in"},
	{30, 20, "cm"}, {45, 30, "cm"}, {60, 40, "cm"}, {90, 60, "cm"}, {150, 100, "cm"},
}

// plentyPPI is the effective resolution up to which a first print is proposed:
// the eye at 14 inches (one arc minute) resolves 246; common practice.
const plentyPPI = 240

// thinPrint is the shorter side, in inches, below which a first print is hardly
// one: 2 mm, our choice.
var thinPrint = big.NewRat(20, 254)

// NewRecipe writes a first recipe for a master: what the master is and the
// effective resolution that it has at usual sizes as comments, and one print at
// the largest usual size for which its own pixels are plenty; a print that is
// smaller than that size, being of another shape, is named so. The recipe is
// meant to stand at the path recipe, which needn't exist: the master's path is
// relative to its folder. Only the master's head is read.
//
// The text is in canonical form and reads without error. A master without a
// profile needs a decision first: the line that takes it stands there as a
// comment.
func NewRecipe(ctx context.Context, file, recipe string) ([]byte, error) {
	path, err := RelativePath(recipe, file)
	if err != nil {
		return nil, err
	}
	if strings.ContainsFunc(path, unicode.IsControl) { // a quoted name stands on one line
		return nil, fmt.Errorf("no recipe can be written for %q: its name holds a line break or another character that isn't shown; rename the master", path)
	}
	in, err := master.Glance(ctx, master.RoleMaster, path, file, false)
	if err != nil {
		return nil, fmt.Errorf("the master %s can't be used: %w", file, err)
	}
	defer in.Close()
	info := in.Picture.Info()
	base := strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
	w, h := info.W, info.H
	if info.Orientation >= 5 {
		w, h = h, w
	}
	var b strings.Builder
	line := func(format string, v ...any) { fmt.Fprintf(&b, format+"\n", v...) }
	line("recipe 1 draft\n")
	line("# title   %s", master.Quote(base))
	line("# rights  \"by the photographer, all rights reserved\"")
	convert := newHead(line, path, info, w, h)
	size, name, short := newTable(line, w, h)
	if short.Cmp(thinPrint) < 0 {
		line("# The print below is only %s in across. Is this the right file?", fewDecimals(short, 1))
	}
	line("\nprepare {")
	line("    # spot at (22.4%%, 11.8%%) radius 0.06%%")
	line("}\n")
	line("print %s {", name)
	line("    %s", size)
	if name != "own-size" {
		line("    enlarge with mitchell")
		line("    sharpen radius 0.9 px amount 100%%")
	}
	if convert != "" {
		line("    convert to %s", convert)
	}
	to := printName(base, "-"+strings.TrimPrefix(name, "size-"))
	line("    save tiff %s bits 16", master.Quote(to+".tif"))
	line("    # for a lab that asks for it: save jpeg %s quality 100", master.Quote(to+".jpg"))
	line("}")
	out, ds := lang.Format(filepath.Base(recipe), []byte(b.String()))
	for _, d := range ds {
		if d.Severity == lang.Error {
			return nil, fmt.Errorf("no recipe can be written for %s: %s; rename the master", path, d.Summary)
		}
	}
	return bytes.Clone(out), nil
}

// newHead writes what the master is, and returns the space to convert to,
// "" where none is called for.
func newHead(line func(string, ...any), path string, info tiff.Info, w, h int) (convert string) {
	space := "opRGB"
	if info.Channels == 1 {
		space = "grey-2.2"
	}
	profile := "no profile"
	if info.ICC != nil {
		profile = "a profile that can't be read"
		if p, err := colour.Parse(info.ICC); err == nil {
			profile = "profile " + p.Description()
			if s, ok := colour.Space(space); ok && s.Digest() != p.Digest() {
				convert = space
			}
		}
	}
	line("master  %s\n", master.Quote(path))
	line("# %s: %d x %d px upright (%s), %s, %d bits, %s.", filepath.Base(path), w, h, nearRatio(w, h), master.ChannelWord(info.Channels), info.Bits, harmless(profile))
	if info.ICC == nil {
		space, words := master.Untagged(info.Channels, info.Bits, "")
		line("# It carries no profile: a line must say its space, %s.", master.SpacesText(info.Channels))
		line("# %s.", strings.ToUpper(words[:1])+words[1:])
		line("# A wrong one shifts every colour of the print. Replace the line above by this one:")
		line("# %s", strings.Replace(master.RecipeLine("master", path, space), "master ", "master  ", 1))
	}
	if info.Alpha != "" && info.Alpha != tiff.AlphaNone {
		line("# It has an alpha channel. If anything in it is translucent, write `on white` behind the master.")
	}
	return convert
}

// newTable writes the effective resolution at usual sizes and returns the size
// line and the name of the print to begin with, and its shorter side in inches.
func newTable(line func(string, ...any), w, h int) (size, name string, short *big.Rat) {
	line("# Pixels an inch of its own that the master has at usual sizes, uncropped:")
	size, name = fmt.Sprintf("size %d px wide at 300 ppi", w), "own-size"
	short = big.NewRat(int64(min(w, h)), 300)
	for _, u := range usualSizes {
		bw, bh := u.long, u.short
		if h > w {
			bw, bh = bh, bw
		}
		fw, fh := within(rat(bw), rat(bh), rat(w), rat(h))
		effective := quo(rat(w), fw)
		if u.unit == "cm" {
			effective = mul(effective, big.NewRat(254, 100))
		}
		box := fmt.Sprintf("%d x %d %s", bw, bh, u.unit)
		fits, word := "", "size"
		if inside := fmt.Sprintf("%s x %s %s", fewDecimals(fw, 1), fewDecimals(fh, 1), u.unit); inside != box {
			fits, word = "   within it: "+inside, "within" // the frame has that size, the print hasn't
		}
		ppi := effective.FloatString(0)
		if ppi == "0" {
			ppi = fewDecimals(effective, 1)
		}
		line("#     %-12s  %5s ppi%s", box, ppi, fits)
		if u.unit == "in" && effective.Cmp(rat(plentyPPI)) >= 0 {
			size = fmt.Sprintf("size within %d in x %d in at 300 ppi", bw, bh)
			name = fmt.Sprintf("%s-%dx%d", word, bw, bh)
			if short = fw; fh.Cmp(fw) < 0 {
				short = fh
			}
		}
	}
	return size, name, short
}

// fewDecimals is exact.Decimals with as many more as it takes to tell a length
// from nothing.
func fewDecimals(r *big.Rat, n int) string {
	for r.Sign() > 0 && exact.Decimals(r, n) == "0" {
		n++
	}
	return exact.Decimals(r, n)
}

// printName is a print file's name without its ending: a long base gives way to
// the suffix.
func printName(base, suffix string) string {
	for most := lang.MaxPrintName - len(suffix+".tif"); len(base) > most; {
		_, n := utf8.DecodeLastRuneInString(base)
		base = base[:len(base)-n]
	}
	return base + suffix
}

// RelativePath is the path of a file as a recipe would write it, from the
// recipe's folder; the recipe needn't exist. It fails where no relative path leads
// there, as from one drive to another.
func RelativePath(recipe, file string) (string, error) {
	// Links on the way would lead relative steps elsewhere.
	rel, err := filepath.Rel(disk.Real(filepath.Dir(recipe)), filepath.Join(disk.Real(filepath.Dir(file)), filepath.Base(file)))
	if err != nil {
		return "", fmt.Errorf("%s can't be reached from the folder of %s: a recipe names files relative to its folder", file, recipe)
	}
	return filepath.ToSlash(rel), nil
}

// harmless keeps a text from a file to one line of plain characters.
func harmless(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool {
		return r < 0x20 || r >= 0x7F && r < 0xA0 || r == 0x2028 || r == 0x2029 || r >= 0x202A && r <= 0x202E || r >= 0x2066 && r <= 0x2069 || r == 0x200E || r == 0x200F || r == 0x061C
	}), " ")
}
