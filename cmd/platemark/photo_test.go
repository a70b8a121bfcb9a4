package main

import (
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"
)

// photoCmd writes an invented w x h colour picture as PNG, 16 bits, or JPEG.
func photoCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: photo FILE W H")
	}
	w, err := strconv.Atoi(args[1])
	ts.Check(err)
	h, err := strconv.Atoi(args[2])
	ts.Check(err)
	img := image.NewRGBA64(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			img.SetRGBA64(x, y, color.RGBA64{R: uint16(x*911 + y), G: uint16(y * 733), B: uint16(x*y*7 + 3), A: 65535})
		}
	}
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	if filepath.Ext(args[0]) == ".png" {
		err = png.Encode(f, img)
	} else {
		err = jpeg.Encode(f, img, nil)
	}
	ts.Check(err)
	ts.Check(f.Close())
}
