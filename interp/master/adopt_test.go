package master

import (
	"context"
	"image"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// What isn't a JPEG file, can't be decoded or has no plain colours is refused
// and leaves no file.
func TestAdoptRefuses(t *testing.T) {
	folder := t.TempDir()
	grey := jpegFile(t, image.NewGray(image.Rect(0, 0, 40, 40)))
	frame := func(n byte) string {
		return "\x08\x00\x08\x00\x08" + string([]byte{n}) + "\x01\x11\x00\x02\x11\x00\x03\x11\x00\x04\x11\x00"
	}
	inks := slices.Concat([]byte{0xff, 0xd8}, jpegSegment(0xc0, frame(4)), jpegSegment(0xda, "\x04\x01\x00\x02\x00\x03\x00\x04\x00\x00\x3f\x00"), []byte{0, 0, 0xff, 0xd9})
	for name, c := range map[string]struct{ data, word string }{
		"cut.jpg":     {string(grey[:len(grey)-20]), "ends at byte"},
		"spoilt.jpg":  {string(slices.Concat(grey[:len(grey)-12], make([]byte, 4), []byte{0xff, 0xd9})), "can't be decoded"},
		"inks.jpg":    {string(inks), "CMYK not accepted"},
		"tiff.jpg":    {"II*\x00\x08\x00\x00\x00", "can be a master as it is"},
		"png.jpg":     {"\x89PNG\r\n\x1a\n", "can be a master as it is"},
		"gif.jpg":     {"GIF89a", "a GIF picture"},
		"other.jpg":   {"something else entirely", "isn't a JPEG file"},
		"empty.jpg":   {"", "an empty file"},
		"profile.jpg": {string(slices.Concat(grey[:2], jpegSegment(0xe2, "ICC_PROFILE\x00\x02\x02x"), grey[2:])), "segment 1 of 2 is missing"},
	} {
		path := filepath.Join(folder, name)
		write(t, path, c.data)
		if _, err := Adopt(context.Background(), path, "", ""); err == nil || !strings.Contains(err.Error(), c.word) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if list, _ := filepath.Glob(filepath.Join(folder, "*.tif")); len(list) != 0 {
		t.Error(list)
	}
	path := filepath.Join(folder, "good.jpg")
	write(t, path, string(grey))
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Adopt(ctx, path, "", ""); err != context.Canceled {
		t.Error(err)
	}
	if _, err := Adopt(context.Background(), path, filepath.Join(folder, "good.png"), ""); err == nil {
		t.Error("a TIFF file named .png")
	}
	if _, err := Adopt(context.Background(), filepath.Join(folder, "missing.jpg"), "", ""); err == nil {
		t.Error("a missing file")
	}
}
