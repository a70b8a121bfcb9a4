//go:build linux

package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	"platemark/ops/codec/tiff"
	"platemark/ops/raster"
	"platemark/recipes/marsh"
)

// BenchmarkScale builds prints of several sizes from masters of several sizes, on
// one and on two processors: two enlargements, blended through a mask, sharpened, as
// a JPEG file of quality 100. It tells processor time a print pixel, less that of
// reading the master, and all of it a pixel read or written, master's and print's;
// wall time, and the most memory, less the decoded master's if it is kept in memory; at
// the end of each master's prints the most of both times beside the least.
// DEVELOPERS.md keeps a table. It takes about four minutes of two quiet processors.
//
//	go test ./cmd/platemark -run - -bench Scale -benchtime 1x
func BenchmarkScale(b *testing.B) {
	const w, h = 6000, 4000
	dir := b.TempDir()
	scene, err := os.Create(filepath.Join(dir, "scene")) // its rows as they lie in a TIFF file; this process must stay small
	if err != nil {
		b.Fatal(err)
	}
	defer scene.Close()
	if err := marsh.Draw(context.Background(), w, h, func(_ int, rows []uint16) error {
		_, err := scene.Write(raster.LE(rows, new([]byte)))
		return err
	}, nil); err != nil {
		b.Fatal(err)
	}
	for _, m := range []struct {
		w, h   int      // px
		prints [][2]int // in
	}{
		{w, h, [][2]int{{24, 16}, {36, 24}, {60, 40}, {90, 60}}},
		{11000, 2200, [][2]int{{200, 40}}},
		{12300, 8200, [][2]int{{60, 40}}},
		{24600, 16400, [][2]int{{60, 40}}},
	} {
		master := filepath.Join(dir, "m.tif")
		written := sync.OnceFunc(func() { tiles(b, master, scene, 6*w, m.w, m.h) })
		for _, processors := range []int{1, 2} {
			reading := sync.OnceValue(func() scaleRun {
				written()
				const steps = "size 3 in wide at 100 ppi\nenlarge with nearest"
				scaled(b, master, steps, processors) // a file that was just written is slow to read
				return scaled(b, master, steps, processors)
			})
			var each, both []float64 // processor time a print pixel, and a pixel read or written, in ns
			for _, p := range m.prints {
				b.Run(fmt.Sprintf("%dMP/%dx%d/%d", m.w*m.h/1e6, p[0], p[1], processors), func(b *testing.B) {
					read := reading()
					for b.Loop() {
						r := scaled(b, master, fmt.Sprintf("size %d in x %d in at 300 ppi\n", p[0], p[1])+scaleSteps, processors)
						px := p[0] * p[1] * 300 * 300
						each = append(each, (r.cpu-read.cpu).Seconds()*1e9/float64(px))
						both = append(both, r.cpu.Seconds()*1e9/float64(m.w*m.h+px))
						b.ReportMetric(each[len(each)-1], "cpu-ns/px")
						b.ReportMetric(both[len(both)-1], "cpu-ns/px-in-out")
						b.ReportMetric(read.cpu.Seconds(), "reading-cpu-s")
						b.ReportMetric(r.wall.Seconds(), "wall-s")
						if size := 6 * m.w * m.h; size <= 512<<20 {
							r.most -= int64(size)
						}
						b.ReportMetric(float64(r.most/1e6), "MB")
						b.ReportMetric(0, "ns/op")
					}
				})
			}
			if len(each) > 1 {
				b.Run(fmt.Sprintf("%dMP/all/%d", m.w*m.h/1e6, processors), func(b *testing.B) {
					for b.Loop() {
						b.ReportMetric(slices.Max(each)/slices.Min(each), "most/least")
						b.ReportMetric(slices.Max(both)/slices.Min(both), "most/least-in-out")
						b.ReportMetric(0, "ns/op")
					}
				})
			}
		}
	}
}

const scaleSteps = `enlarge with lanczos3 as crisp
enlarge with mitchell as smooth
blend smooth over crisp through middle at 40%
sharpen radius 1.8 px amount 190%`

type scaleRun struct {
	cpu, wall time.Duration
	most      int64 // bytes of memory
}

// scaled builds a print by steps, its size first.
func scaled(b *testing.B, master, steps string, processors int) scaleRun {
	recipe := filepath.Join(filepath.Dir(master), "r.recipe")
	write(b, recipe, "recipe 1 draft\nmaster \"m.tif\" space opRGB\nmask middle {\nellipse at (50%, 50%) size 80% x 60% soft 60%\n}\nprint p {\n"+steps+"\nsave jpeg \"p.jpg\" quality 100 chroma full\n}\n")
	c := exec.Command(binary(b), "build", "--out", b.TempDir(), recipe)
	c.Env = append(os.Environ(), fmt.Sprintf("GOMAXPROCS=%d", processors), "TMPDIR="+filepath.Dir(master))
	began := time.Now()
	if out, err := c.CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	s := c.ProcessState
	return scaleRun{s.UserTime() + s.SystemTime(), time.Since(began), int64(s.SysUsage().(*syscall.Rusage).Maxrss) * 1024}
}

// tiles writes a master of w x h px: the rows of a scene, n bytes each, again and
// again.
func tiles(b *testing.B, path string, scene *os.File, n, w, h int) {
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: 3, Bits: 16})
	if err != nil {
		b.Fatal(err)
	}
	st, err := scene.Stat()
	if err != nil {
		b.Fatal(err)
	}
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	f.Write(l.Header())
	one, row := make([]byte, n), make([]byte, 6*w)
	for y := range h {
		if _, err := scene.ReadAt(one, int64(y*n)%st.Size()); err != nil {
			b.Fatal(err)
		}
		for x := 0; x < len(row); x += copy(row[x:], one) {
		}
		f.Write(row)
	}
	if _, err := f.Write(l.Trailer()); err != nil {
		b.Fatal(err)
	}
}
