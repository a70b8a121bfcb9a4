package interp

import (
	"context"
	"fmt"
	"image"
	"io"
	"path/filepath"
	"strings"
	"time"

	"platemark/interp/disk"
	"platemark/interp/engine"
	"platemark/interp/plan"
	"platemark/ops"
)

// sectionMost is the largest section that is computed by itself, in pixels: what
// it comes from is in memory then. A larger one is cut out of whole rows.
const sectionMost = 8 << 20

// Section builds only the rectangle x, y, w, h (pixels of the print) of one
// plan, with exactly the samples that the whole has there, as a TIFF of 16
// bits. w 0 means the whole picture.
func Section(ctx context.Context, j *Job, p *plan.Print, x, y, w, h int, path string, o BuildOptions) (*Built, error) {
	pic := p.Nodes[p.Out].Pic
	if w == 0 {
		x, y, w, h = 0, 0, pic.W, pic.H
	}
	if x < 0 || y < 0 || w < 1 || h < 1 || x > pic.W-w || y > pic.H-h {
		return nil, fmt.Errorf("the section %d,%d,%d,%d doesn't lie in the picture of %d x %d px", x, y, w, h, pic.W, pic.H)
	}
	if err := j.NotInput(path); err != nil {
		return nil, err
	}
	began := time.Now()
	se := newSession(o)
	defer se.Close()
	spec := plan.FileSpec{Format: "tiff", Bits: 16, PPI: p.Face.PPI, Profile: pic.Profile, Title: p.File.Title, Rights: p.File.Rights}
	part := ops.Pic{W: w, H: h, C: pic.C, Profile: pic.Profile}
	likely, most := spec.Room(part)
	f, err := disk.Create(path, likely, most, o.Force)
	if err != nil {
		return nil, err
	}
	s, done, err := newFileSink(io.Writer(f), spec, part)
	switch {
	case err != nil:
	case w*h <= sectionMost:
		var m Picture
		if m, err = se.Region(ctx, p, p.Out, image.Rect(x, y, x+w, y+h)); err == nil {
			err = rowsOf(s, m.Samples, m.Stride())
		}
	default:
		eo := se.engineOptions("section")
		eo.From, eo.Till = y, y+h
		var g *engine.Graph
		if g, _, err = se.graph(ctx, p, p.Out, nil); err == nil {
			_, err = engine.Run(ctx, g, columns{s, x * pic.C, (x + w) * pic.C}, eo)
		}
	}
	if err == nil {
		err = done()
	}
	if err != nil {
		f.Abandon()
		return nil, err
	}
	if err := f.Commit(s.n); err != nil {
		return nil, err
	}
	return &Built{Print: p.Name, File: path, Size: s.n, Sum: s.digest(), W: w, H: h, Wall: time.Since(began)}, nil
}

// PartName is the name for a section or a picture between, beside the print.
func PartName(out, part string) string {
	return strings.TrimSuffix(out, filepath.Ext(out)) + "." + part + ".tif"
}
