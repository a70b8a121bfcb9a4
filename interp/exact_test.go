package interp

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"runtime"
	"testing"

	"platemark/interp/plan"
	"platemark/ops/codec/tiff"
)

// determinedPart is a log without its run record.
func determinedPart(t testing.TB, log string) string {
	t.Helper()
	b := bytes.Split(bytes.TrimSuffix(read(t, log), []byte("\n")), []byte("\n"))
	return string(bytes.Join(b[:len(b)-1], []byte("\n")))
}

// The number of workers, the height of bands and the number of processors
// change no byte of a print file or of a log's determined records.
func TestSameBytesOnAnySchedule(t *testing.T) {
	folder, file := smallJob(t, everyStep)
	type print struct{ file, log string }
	var want []print
	var first string
	for _, workers := range []int{1, 2, 7} {
		for _, rows := range []int{0, 8, 48, 1000} {
			for _, procs := range []int{1, 3} {
				name := fmt.Sprintf("workers %d rows %d processors %d", workers, rows, procs)
				old := runtime.GOMAXPROCS(procs)
				out := filepath.Join(folder, fmt.Sprintf("out-%d-%d-%d", workers, rows, procs))
				built := mustBuild(t, file, LoadOptions{}, BuildOptions{Workers: workers, BandRows: rows, Out: out})
				runtime.GOMAXPROCS(old)
				var got []print
				for _, b := range built {
					got = append(got, print{string(read(t, b.File)), determinedPart(t, b.Log)})
				}
				if want == nil {
					want, first = got, name
					if len(want) != 4 {
						t.Fatalf("%d prints, expected 4", len(want))
					}
					continue
				}
				for i := range got {
					if got[i].file != want[i].file {
						t.Errorf("print %s: the file with %s differs from the one with %s", built[i].Print, name, first)
					}
					if got[i].log != want[i].log {
						t.Errorf("print %s: the log with %s differs from the one with %s", built[i].Print, name, first)
					}
				}
			}
		}
	}
}

// A picture too large for memory goes through a temporary file and comes out
// the same.
func TestSameBytesThroughTemporaryFiles(t *testing.T) {
	folder, file := smallJob(t, everyStep)
	a := mustBuild(t, file, LoadOptions{}, BuildOptions{Out: filepath.Join(folder, "a")})
	limit := plan.MemoryLimit
	plan.MemoryLimit = 1
	defer func() { plan.MemoryLimit = limit }()
	b := mustBuild(t, file, LoadOptions{}, BuildOptions{Out: filepath.Join(folder, "b")})
	for i := range a {
		if a[i].Sum != b[i].Sum || determinedPart(t, a[i].Log) != determinedPart(t, b[i].Log) {
			t.Errorf("print %s differs when its pictures lie in files", a[i].Print)
		}
	}
}

// samples reads a 16-bit TIFF.
func samples(t testing.TB, path string) (w, h, c int, px []uint16) {
	t.Helper()
	b := read(t, path)
	f, err := tiff.Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	i := f.Info()
	if err := f.Decode(context.Background(), 1, func(_ int, rows []uint16) error {
		px = append(px, rows...)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return i.W, i.H, i.Channels, px
}

// A section has exactly the samples that the whole has there.
func TestSectionIsThatPartOfTheWhole(t *testing.T) {
	folder, file := smallJob(t, everyStep)
	for _, name := range []string{"large", "exact", "card", "plain"} {
		j := mustLoad(t, file, LoadOptions{Prints: []string{name}})
		p := j.Plans[0]
		whole := filepath.Join(folder, name+"-whole.tif")
		if _, err := Section(context.Background(), j, p, 0, 0, 0, 0, whole, BuildOptions{}); err != nil {
			t.Fatal(err)
		}
		W, H, C, all := samples(t, whole)
		for i, r := range [][4]int{{0, 0, W, H}, {0, 0, 1, 1}, {W - 1, H - 1, 1, 1}, {W / 3, H / 4, W / 2, H / 3}, {5, H - 3, 7, 3}} {
			part := filepath.Join(folder, fmt.Sprintf("%s-%d.tif", name, i))
			if _, err := Section(context.Background(), j, p, r[0], r[1], r[2], r[3], part, BuildOptions{Workers: 1 + i%3, BandRows: 8 * (i + 1)}); err != nil {
				t.Fatal(err)
			}
			w, h, c, px := samples(t, part)
			if w != r[2] || h != r[3] || c != C {
				t.Fatalf("section %v is %d x %d x %d", r, w, h, c)
			}
			for y := range h {
				a := all[((r[1]+y)*W+r[0])*C:][:w*C]
				if b := px[y*w*c:][:w*c]; !equal(a, b) {
					t.Fatalf("print %s section %v: row %d differs from the whole", name, r, y)
				}
			}
		}
		if _, err := Section(context.Background(), j, p, W-1, 0, 2, 1, filepath.Join(folder, "out.tif"), BuildOptions{}); err == nil {
			t.Error("a section outside the picture was accepted")
		}
	}
}

func equal(a, b []uint16) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// A 16-bit TIFF print holds the samples that --upto its last step writes.
func TestUptoLastLineIsThePrint(t *testing.T) {
	folder, file := smallJob(t, everyStep)
	built := mustBuild(t, file, LoadOptions{Prints: []string{"exact"}}, BuildOptions{})
	_, _, _, want := samples(t, built[0].File)
	j := mustLoad(t, file, LoadOptions{Prints: []string{"exact"}, NoOutputs: true})
	out := j.Plans[0].Nodes[j.Plans[0].Out].Line
	u := mustLoad(t, file, LoadOptions{Prints: []string{"exact"}, Upto: out, NoOutputs: true})
	part := filepath.Join(folder, "upto.tif")
	if _, err := Section(context.Background(), u, u.Plans[0], 0, 0, 0, 0, part, BuildOptions{}); err != nil {
		t.Fatal(err)
	}
	if _, _, _, got := samples(t, part); !equal(got, want) {
		t.Error("the picture after the last step isn't the printed one")
	}
}

// Every line with a step, and every line of a used mask, can be looked at.
func TestUptoEveryLine(t *testing.T) {
	folder, file := smallJob(t, everyStep)
	n := 0
	for line := 1; line <= bytes.Count([]byte(everyStep), []byte("\n")); line++ {
		j, err := Load(context.Background(), file, LoadOptions{Upto: line, NoOutputs: true})
		if err != nil {
			continue
		}
		if j.Failed() {
			t.Fatalf("line %d: %v", line, j.Diags)
		}
		n++
		part := filepath.Join(folder, fmt.Sprintf("line-%d.tif", line))
		if _, err := Section(context.Background(), j, j.Plans[0], 0, 0, 0, 0, part, BuildOptions{}); err != nil {
			t.Errorf("line %d: %v", line, err)
		}
		j.Close()
	}
	// Counted by hand in the recipe above: 12 lines of masks (the first stroke
	// line stands for its second one), 3 of prepare, 3 of steps, 2 + 4 + 2 + 2
	// in the prints.
	if n < 25 {
		t.Errorf("only %d lines make a picture", n)
	}
}
