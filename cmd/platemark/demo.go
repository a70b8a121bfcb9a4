package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"os"
	"path/filepath"
	"time"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
	"platemark/recipes"
	"platemark/recipes/marsh"
	"platemark/recipes/paper"
)

type demoCmd struct {
	Folder string `arg:"" optional:"" default:"platemark-demo" help:"The folder to make (default: platemark-demo here). It must not exist."`
	workersFlag
}

func (demoCmd) Help() string {
	return `Draws an invented landscape of 25 megapixels as a 16-bit master, writes a recipe beside it, builds a 60 x 40 in and a 12 x 8 in print, verifies both logs, deletes a print, makes it again from its log, and shows that it is the same file.

Example:
  platemark demo my-first-order`
}

// The demo master's size, in pixels.
const demoW, demoH = 6144, 4096

func (c *demoCmd) Run(a *app) error {
	failed := func(err error) error {
		return fmt.Errorf("the folder %s can't be made: %w; name another: platemark demo FOLDER", c.Folder, disk.PlainError(err))
	}
	if err := os.MkdirAll(filepath.Dir(filepath.Clean(c.Folder)), 0o777); err != nil {
		return failed(err)
	}
	if err := os.Mkdir(c.Folder, 0o777); errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s exists already; name another folder: platemark demo FOLDER", c.Folder)
	} else if err != nil {
		return failed(err)
	}
	err := c.show(a)
	if err != nil {
		// What was made so far would only stand in the way of the next run.
		os.RemoveAll(c.Folder)
	}
	return err
}

// show does the demonstration in its new folder.
func (c *demoCmd) show(a *app) error {
	began := time.Now()
	in := func(name string) string { return filepath.Join(c.Folder, name) }

	fmt.Fprintf(a.out, "1. An invented master, drawn by code: %s\n", in("marsh.tif"))
	if err := drawMaster(a.ctx, in("marsh.tif"), demoW, demoH, a.bar.tell); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "2. Its recipe: %s\n", in("marsh.recipe"))
	if err := disk.Write(in("marsh.recipe"), recipes.Marsh, false); err != nil {
		return err
	}
	if _, _, err := interp.Pin(a.ctx, in("marsh.recipe"), nil, nil); err != nil {
		return err
	}

	if err := writePapers(c.Folder); err != nil {
		return err
	}

	fmt.Fprintln(a.out, "3. platemark build marsh.recipe")
	j, err := a.load(in("marsh.recipe"), interp.LoadOptions{})
	if err != nil {
		return err
	}
	defer j.Close()
	built, err := interp.Build(a.ctx, j, interp.BuildOptions{Workers: c.n(), Progress: a.bar.tell})
	if err != nil {
		return err
	}
	a.tellBuilt(built...)

	fmt.Fprintln(a.out, "4. platemark verify")
	for _, b := range built {
		v, err := interp.Verify(a.ctx, b.Log, interp.VerifyOptions{Strict: true})
		if err != nil {
			return err
		}
		if a.tellVerdict(v); !v.OK {
			return errRefused
		}
	}

	large := built[0]
	fmt.Fprintf(a.out, "5. Two years later: %s is lost\n", filepath.Base(large.File))
	if err := os.Remove(large.File); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "6. platemark reprint %s\n", filepath.Base(large.Log))
	again, err := interp.Reprint(a.ctx, large.Log, interp.ReprintOptions{BuildOptions: interp.BuildOptions{Workers: c.n(), Progress: a.bar.tell}})
	if err != nil {
		return err
	}
	if again.Sum != large.Sum {
		return errors.New("the reprint has another digest")
	}
	fmt.Fprintf(a.out, "    before   %s\n    again    %s\n    identical\n", large.Sum, again.Sum)
	fmt.Fprintf(a.out, `
Done in %s. Where to look next, in %s:
    marsh.recipe                 the recipe: change a line and run  platemark plan marsh.recipe
    marsh-12x8.tif               the small print
    marsh-papers.recipe          the same on two invented papers:
                                 platemark proof marsh-papers.recipe --print wall --paper baryta --paper rag
                                 platemark proof marsh-papers.recipe --print desk --fit
    *.audit.jsonl                the logs: one line a step, each with its digest
A section at full size:  platemark build marsh.recipe --print large --section 2000,1500,1800,1200
`, time.Since(began).Round(100*time.Millisecond), c.Folder)
	return nil
}

// writePapers writes two invented papers' profiles and a recipe that names them.
func writePapers(folder string) error {
	for _, name := range paper.Names() {
		b, _ := paper.Profile(name)
		if err := disk.Write(filepath.Join(folder, "papers", name+".icc"), b, false); err != nil {
			return err
		}
	}
	text, err := recipes.Files.ReadFile("marsh-papers.recipe")
	if err != nil {
		return err
	}
	return disk.Write(filepath.Join(folder, "marsh-papers.recipe"), text, false)
}

// drawMaster draws the scene, w x h px, straight into a 16-bit TIFF. A master
// that isn't whole gets no name.
func drawMaster(ctx context.Context, path string, w, h int, tell func(string, int64, int64)) error {
	space, _ := colour.Space("opRGB")
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: 3, Bits: 16, PPI: big.NewRat(300, 1), ICC: space.Bytes()})
	if err != nil {
		return err
	}
	return disk.Make(path, false, func(f *os.File) error {
		if _, err := f.Write(l.Header()); err != nil {
			return err
		}
		var buf []byte
		progress := func(done, due int) { tell("drawing the master", int64(done), int64(due)) }
		err := marsh.Draw(ctx, w, h, func(_ int, rows []uint16) error {
			buf = buf[:0]
			for n := w * 3; len(rows) > 0; rows = rows[n:] {
				buf = l.AppendRow(buf, rows[:n], 0)
			}
			_, err := f.Write(buf)
			return err
		}, progress)
		if err != nil {
			return err
		}
		_, err = f.Write(l.Trailer())
		return err
	})
}
