//go:build outside

package browsers

import (
	"bytes"
	"fmt"
	"image/color"
	"image/png"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"platemark/interp/interptest"
	"platemark/ops/raster"
)

// both runs a test in Chromium and in Firefox.
func both(t *testing.T, test func(t *testing.T, b browser)) {
	t.Run("chromium", func(t *testing.T) { test(t, newChromium(t)) })
	t.Run("firefox", func(t *testing.T) { test(t, newFirefox(t)) })
}

// A practitioner's whole way: three specks taken from what inspect finds, two found
// and mended by eye, a mask painted and used, 55 % compared with 40 %, saved and
// built; what is seen at 100 % is what is built.
func TestWholeWay(t *testing.T) {
	both(t, func(t *testing.T, b browser) {
		d := served(t, b, shore, 1440, 900)
		first := d.calm()

		// Candidates: each at 100 %, ringed, without and with its line.
		d.keys("i")
		for n := range 3 {
			d.wait(`document.querySelector("#doing").innerText.includes("of %d")`, 5-n)
			d.wait(`document.querySelectorAll("#marks .found circle").length === 2`)
			d.wait(`document.querySelector("#name").innerText.startsWith("without its line")`)
			d.keys("b")
			d.wait(`document.querySelector("#name").innerText.startsWith("with spot at")`)
			d.keys("t")
			d.wait(`document.querySelector("#text").value.split("    spot at").length - 1 === %d`, n+1)
		}
		d.wait(`document.querySelector("#doing").innerText.includes("of 2")`)
		d.keys("Escape", "f")

		// By eye: two specks that are left, one clicked, one with its radius drawn.
		taken := d.text()
		d.keys("s")
		left := 0
		for _, p := range specks {
			at := [2]float64{float64(p[0]) / 1800, float64(p[1]) / 1200}
			if near(taken, at) {
				continue
			}
			left++
			if left == 1 {
				d.hand(at)
			} else {
				d.hand(at, [2]float64{at[0] + 0.004, at[1]}, [2]float64{at[0] + 0.006, at[1]})
			}
			d.wait(`document.querySelector("#text").value.split("    spot at").length - 1 === %d`, 3+left)
		}
		if left != 2 {
			t.Fatalf("%d specks are left:\n%s", left, taken)
		}
		d.keys("Escape")

		// A mask, painted, and used by the line that blends.
		d.keys("t")
		d.hand([2]float64{0.1, 0.7}, [2]float64{0.3, 0.72}, [2]float64{0.5, 0.7}, [2]float64{0.7, 0.75}, [2]float64{0.9, 0.7})
		d.has(`mask drawn-1 \{\n    stroke along \(.*\) width 6% soft 50%\n\}`)
		d.keys("Escape")
		d.write("blend smooth over crisp", 0, " through drawn-1")
		d.has(`blend smooth over crisp through drawn-1 at 40%`)
		forty := d.calm()
		d.write("through drawn-1 at 40", 2, "55")
		d.has(`through drawn-1 at 55%`)
		fiftyFive := d.calm()
		d.write("through drawn-1 at 55", 2, "40")
		d.wait(`document.querySelector("#view").dataset.ready === %q`, forty)
		d.write("through drawn-1 at 40", 2, "55")
		d.wait(`document.querySelector("#view").dataset.ready === %q`, fiftyFive)
		if first == forty || forty == fiftyFive {
			t.Error("a line that changed shows the same picture")
		}

		d.key(t, "s", "Control")
		d.kept("as saved")
		text := string(interptest.Read(t, d.path))
		if text != d.text() || !strings.HasPrefix(text, strings.SplitAfter(shore, "\n")[0]) || !strings.Contains(text, "   # the first of four\n") {
			t.Errorf("saved:\n%s", text)
		}
		t.Logf("the recipe that came out:\n%s", text)

		d.keys("1")
		d.wait(`document.querySelector("#name").innerText.includes("true pixels, 100 %%")`)
		d.ready()
		var place []int
		d.eval(t, `(() => { const v = document.querySelector("#view"), r = v.getBoundingClientRect(), p = v.dataset.place.split(" "); return [Math.ceil(r.left) + +p[0], Math.ceil(r.top) + +p[1]]; })()`, &place)
		d.eval(t, `new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(r, 200))))`, nil)
		screen := d.shot(t)
		d.run("build", filepath.Base(d.path))
		seenIs(t, screen, place, filepath.Join(filepath.Dir(d.path), "wall.tif"))
	})
}

// near says whether a text has a spot within half a per cent of a place.
func near(text string, at [2]float64) bool {
	return slices.ContainsFunc(strings.Split(text, "\n"), func(line string) bool {
		var x, y float64
		n, _ := fmt.Sscanf(strings.TrimSpace(line), "spot at (%f%%, %f%%)", &x, &y)
		return n == 2 && max(x/100-at[0], at[0]-x/100) < 0.005 && max(y/100-at[1], at[1]-y/100) < 0.005
	})
}

// seenIs compares a square of the print's middle on the screen, where its left upper
// corner lies at place, with a print file of 3600 x 2400 px.
func seenIs(t *testing.T, shot []byte, place []int, file string) {
	t.Helper()
	screen, err := png.Decode(bytes.NewReader(shot))
	if err != nil {
		t.Fatal(err)
	}
	_, want := interptest.Decode(t, file)
	row, bad := make([]byte, 3*3600), 0
	for y := 1180; y < 1220; y++ {
		raster.Eight(row, want[y*3*3600:(y+1)*3*3600], 3, 0, y)
		for x := 1760; x < 1840; x++ {
			c := color.NRGBAModel.Convert(screen.At(place[0]+x, place[1]+y)).(color.NRGBA)
			for i, v := range []uint8{c.R, c.G, c.B} {
				if d := int(v) - int(row[3*x+i]); d < -1 || d > 1 {
					bad++
				}
			}
		}
	}
	if bad > 0 {
		t.Errorf("%d of %d samples on the screen aren't the print's", bad, 3*40*80)
	}
}
