// Package photos opens real photographs that Debian's picture packages install,
// for tests of quality (-tags outside) and for looking at. .ci/run installs the
// packages.
package photos

import (
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"os"
	"slices"
	"testing"
)

// Photo is one photograph of a package. Its colours are sRGB.
type Photo struct {
	Name    string // what it shows, in one word
	Package string
	File    string
	By      string
	Licence string
	Apart   bool // no formula was chosen by looking at it
}

const (
	lomiri = "/usr/share/backgrounds/"
	mate   = "/usr/share/backgrounds/mate/nature/"
)

// List is every photograph.
var List = []Photo{
	{"beach", "lomiri-wallpapers-16.04", lomiri + "Bridge_by_Sander_Klootwijk.jpg", "Sander Klootwijk", "CC-BY-SA-4.0", false},
	{"leaves", "lomiri-wallpapers-16.04", lomiri + "Dragonfly_by_Bolly.jpg", "Bolly", "CC-BY-SA-4.0", false},
	{"fig", "lomiri-wallpapers-16.04", lomiri + "Picture_0B_by_freespace.jpg", "Trevor “Freespace”", "CC-BY-4.0", false},
	{"brushes", "lomiri-wallpapers-16.04", lomiri + "Picture_1A_by_freespace.jpg", "Trevor “Freespace”", "CC-BY-4.0", false},
	{"hills", "lomiri-wallpapers-16.04", lomiri + "aitzgorri_by_Aitzol_Berasategi.jpg", "Aitzol Berasategi", "CC-BY-4.0", false},
	{"sunset", "lomiri-wallpapers-16.04", lomiri + "sunset_by_Aitzol_Berasategi.jpg", "Aitzol Berasategi", "CC-BY-4.0", false},
	{"dune", "mate-backgrounds", mate + "Dune.jpg", "Marco Cogoni, Hylke Bons", "GPL-2+", false},
	{"marigold", "mate-backgrounds", mate + "Garden.jpg", "Charles Barbin", "GPL-2+", false},
	{"lamps", "lomiri-wallpapers-16.04", lomiri + "free_by_Peter_Nerlich.jpg", "Peter Nerlich", "CC-BY-SA-4.0", true},
	{"mountains", "lomiri-wallpapers-16.04", lomiri + "picosdeeuropa_by_Aitzol_Berasategi.jpg", "Aitzol Berasategi", "CC-BY-4.0", false},
	{"dandelions", "lomiri-wallpapers-16.04", lomiri + "seeding_by_Clements_Engelhardt.jpg", "Clemens Engelhardt", "CC0-1.0", true},
	{"brook", "lomiri-wallpapers-16.04", lomiri + "life_by_Aitzol_Berasategi.jpg", "Aitzol Berasategi", "CC-BY-4.0", true},
	{"storm", "mate-backgrounds", mate + "Storm.jpg", "Sergey Nazarov", "GPL-2+", true},
	{"wood", "mate-backgrounds", mate + "Wood.jpg", "Jean-François Fortin Tam", "GPL-2+", true},
	{"meadow", "mate-backgrounds", mate + "GreenMeadow.jpg", "Timothy Schellhase, Lapo Calamandrei", "GPL-2+", true},
}

// Group is "tuned" where a formula may have been chosen by looking at the
// photograph of that name, and "others" where none was.
func Group(name string) string {
	i := slices.IndexFunc(List, func(p Photo) bool { return p.Name == name })
	if i < 0 || !List[i].Apart {
		return "tuned"
	}
	return "others"
}

// Open is Read for tests: a photograph that isn't installed fails the test.
func Open(t testing.TB, name string, reduce int) (pix []uint16, w, h int) {
	t.Helper()
	pix, w, h, err := Read(name, reduce)
	if err != nil {
		t.Fatal(err)
	}
	return pix, w, h
}

// Read decodes a photograph to 16-bit red, green and blue, row by row, and
// reduces it: a pixel is the mean of reduce x reduce pixels' codes (an
// incomplete row or column at the end falls away).
func Read(name string, reduce int) (pix []uint16, w, h int, err error) {
	i := slices.IndexFunc(List, func(p Photo) bool { return p.Name == name })
	if i < 0 {
		return nil, 0, 0, fmt.Errorf("there is no photograph %q", name)
	}
	f, err := os.Open(List[i].File)
	if err != nil {
		return nil, 0, 0, fmt.Errorf("%w; install Debian's package %s", err, List[i].Package)
	}
	defer f.Close()
	m, err := jpeg.Decode(f)
	if err != nil {
		return nil, 0, 0, fmt.Errorf("%s: %w", List[i].File, err)
	}
	pix, w, h = means(m, reduce)
	return pix, w, h, nil
}

func means(m image.Image, n int) (pix []uint16, w, h int) {
	b := m.Bounds()
	bytes := image.NewRGBA(image.Rect(0, 0, b.Dx(), b.Dy())) // a JPEG has no alpha
	draw.Draw(bytes, bytes.Rect, m, b.Min, draw.Src)
	w, h = b.Dx()/n, b.Dy()/n
	pix = make([]uint16, 0, 3*w*h)
	for y := range h {
		for i := range 3 * w {
			sum := 0
			for k := range n * n {
				sum += int(bytes.Pix[(y*n+k/n)*bytes.Stride+(i/3*n+k%n)*4+i%3])
			}
			pix = append(pix, uint16((2*257*sum+n*n)/(2*n*n)))
		}
	}
	return pix, w, h
}
