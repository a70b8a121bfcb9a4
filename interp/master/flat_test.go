package master

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"testing"
)

// Areas drawn by the standard library: what is there in full is found, what is too
// narrow, too far off or of one channel isn't.
func TestFlats(t *testing.T) {
	img := image.NewRGBA64(image.Rect(0, 0, 100, 60))
	fill := func(r image.Rectangle, v [3]uint16) {
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x++ {
				img.SetRGBA64(x, y, color.RGBA64{v[0], v[1], v[2], 65535})
			}
		}
	}
	fill(img.Rect, [3]uint16{1000, 2000, 3000})
	fill(image.Rect(76, 30, 100, 38), [3]uint16{32768, 0, 65535}) // at the edge, just large enough
	fill(image.Rect(0, 40, 23, 60), [3]uint16{50000, 50000, 50000})
	save := func(name string, img image.Image) string {
		file := filepath.Join(t.TempDir(), name)
		f, err := os.Create(file)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if err := png.Encode(f, img); err != nil {
			t.Fatal(err)
		}
		return file
	}
	colours := [][3]uint16{{1000, 2000, 3000}, {32768, 0, 65535}, {32768 + 257, 257, 65535 - 257}, {32768 + 258, 0, 65535}, {32768, 258, 65535}, {32768, 0, 65535 - 258}, {50000, 50000, 50000}}
	found, err := Flats(context.Background(), save("a.png", img), 24, colours)
	if got := fmt.Sprint(found); err != nil || got != "[true true true false false false false]" {
		t.Errorf("%v %v", got, err)
	}
	if found, err = Flats(context.Background(), save("a.png", img), 24, colours[:3]); err != nil || fmt.Sprint(found) != "[true true true]" {
		t.Errorf("%v %v", found, err)
	}
	if found, err = Flats(context.Background(), save("grey.png", image.NewGray16(img.Rect)), 24, colours); err != nil || found != nil {
		t.Errorf("of a grey picture: %v %v", found, err)
	}
	text := filepath.Join(t.TempDir(), "text.csv")
	os.WriteFile(text, []byte("patch\n"), 0o666)
	if found, err = Flats(context.Background(), text, 24, colours); err != nil || found != nil {
		t.Errorf("of a table: %v %v", found, err)
	}
}
