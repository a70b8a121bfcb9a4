//go:build outside

package desk

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"platemark/interp"
	"platemark/interp/proof"
	"platemark/ops/colour"
)

// look shows what the window shows, and where a box of the page lies in it.
func look(t *testing.T, tab context.Context, box string) (screen image.Image, at image.Point, place [3]float64) {
	t.Helper()
	var said string
	var corner []float64
	var b []byte
	do(t, tab, chromedp.Sleep(400*time.Millisecond), chromedp.Evaluate(fmt.Sprintf(`document.querySelector(%q).dataset.place`, box), &said),
		chromedp.Evaluate(fmt.Sprintf(`{ const r = document.querySelector(%q).getBoundingClientRect(); [r.left, r.top] }`, box), &corner), chromedp.CaptureScreenshot(&b))
	screen, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := fmt.Sscan(said, &place[0], &place[1], &place[2]); err != nil {
		t.Fatalf("%q: %v", said, err)
	}
	return screen, image.Pt(int(math.Ceil(corner[0]-0.01)), int(math.Ceil(corner[1]-0.01))), place
}

func pick(t *testing.T, tab context.Context, id, value string) {
	t.Helper()
	wait(t, tab, fmt.Sprintf(`[...document.querySelector("#%s").options].some((o) => o.value === %q)`, id, value))
	do(t, tab, chromedp.Evaluate(fmt.Sprintf(`{ const s = document.querySelector("#%s"); s.value = %q; s.dispatchEvent(new Event("change")); }`, id, value), nil))
}

func keys(t *testing.T, tab context.Context, list ...string) {
	t.Helper()
	do(t, tab, chromedp.Evaluate(`document.querySelector("#view").focus()`, nil))
	for _, k := range list {
		do(t, tab, chromedp.KeyEvent(k))
	}
}

// A kept round lies beside the print as it stands, each in its own pixels, and
// both go along; their difference has the figures of builds of both; the choice
// is there again after a reload.
func TestRoundsBesideEachOther(t *testing.T) {
	s, path := compared(t)
	st := comparedState(t, s, "large", "round 1", "")
	tab := browseServer(t, s, 1440, 900, 1)
	pick(t, tab, "with", "round 1")
	wait(t, tab, `document.querySelector("#name").innerText.startsWith("left round 1")`)
	keys(t, tab, "1", "h")
	wait(t, tab, `document.querySelector("#twin").dataset.ready && document.querySelector("#view").dataset.ready`)
	var first [3]float64
	for i, way := range []string{"", kb.ArrowRight, kb.ArrowDown} {
		if way != "" {
			keys(t, tab, way)
			wait(t, tab, `document.querySelector("#twin").dataset.ready && document.querySelector("#view").dataset.ready`)
		}
		var places [][3]float64
		for _, side := range []struct{ box, key string }{{"#twin", st.Before.Key}, {"#view", st.Picture.Key}} {
			screen, at, place := look(t, tab, side.box)
			places = append(places, place)
			x, y := 200-int(place[0]), 300-int(place[1])
			tile, err := s.tile(context.Background(), side.key, level{by: 1}, image.Rect(x, y, x+80, y+60))
			if err != nil {
				t.Fatal(err)
			}
			want, _ := png.Decode(bytes.NewReader(tile))
			bad := 0
			for p := range 80 * 60 {
				got := color.NRGBAModel.Convert(screen.At(at.X+200+p%80, at.Y+300+p/80)).(color.NRGBA)
				w := color.NRGBAModel.Convert(want.At(p%80, p/80)).(color.NRGBA)
				if d := max(int(got.R)-int(w.R), int(w.R)-int(got.R), int(got.G)-int(w.G), int(w.G)-int(got.G)); d > 1 {
					bad++
				}
			}
			if bad > 0 {
				t.Errorf("%s, move %d: %d pixels aren't its picture's", side.box, i, bad)
			}
		}
		if places[0] != places[1] || i > 0 && places[0] == first {
			t.Errorf("move %d: they lie at %v, before at %v", i, places, first)
		}
		first = places[0]
	}
	// Moved by the other one, too.
	do(t, tab, chromedp.Evaluate(`{ const r = document.querySelector("#twin").getBoundingClientRect(); document.querySelector("#twin").dispatchEvent(new WheelEvent("wheel", { deltaX: -40, deltaY: -30, clientX: r.left + 50, clientY: r.top + 50, cancelable: true })); }`, nil))
	_, _, moved := look(t, tab, "#view")
	if _, _, twin := look(t, tab, "#twin"); moved != twin || moved == first {
		t.Errorf("a wheel over the other one: %v and %v, before %v", moved, twin, first)
	}
	do(t, tab, chromedp.Reload(), shown)
	wait(t, tab, `document.querySelector("#with").value === "round 1" && !document.querySelector("#twin").hidden`)
	keys(t, tab, "1", "x")
	wait(t, tab, `document.querySelector("#view").dataset.difference`)
	var said, words string
	do(t, tab, chromedp.Evaluate(`document.querySelector("#view").dataset.difference`, &said), chromedp.Evaluate(`document.querySelector("#apart").innerText`, &words))
	var x, y, w, h int
	var mean, worst float64
	if _, err := fmt.Sscan(said, &x, &y, &w, &h, &mean, &worst); err != nil {
		t.Fatal(said, err)
	}
	r := image.Rect(x, y, x+w, y+h)
	sum, most := 0.0, 0.0
	then := labsOf(t, path, strings.Replace(st.Text, "at 55%", "at 40%", 1), r)
	for i, l := range labsOf(t, path, st.Text, r) {
		d := colour.DeltaE2000(l, then[i])
		sum, most = sum+d, max(most, d)
	}
	if want := sum / float64(w*h); want == 0 || math.Abs(mean-want) > 1e-4 || math.Abs(worst-most) > 1e-4 || !strings.Contains(words, fmt.Sprintf("mean %.2f, worst %.1f at (", want, most)) {
		t.Errorf("mean %g and worst %g, by builds %g and %g: %q", mean, worst, want, most, words)
	}
	if w < 600 || h < 500 {
		t.Errorf("only %d x %d px were compared", w, h)
	}
}

// The page shows the pixels that proof computes, with the paper's white around the
// fitted picture, says so, and hatches what can't be printed.
func TestProofInThePage(t *testing.T) {
	s, path := compared(t)
	white := comparedState(t, s, "large", "", "rag").Picture.White
	tab := browseServer(t, s, 1010, 760, 1)
	wait(t, tab, `[...document.querySelector("#seen").options].length === 3`)
	keys(t, tab, "1", "r")
	wait(t, tab, `document.querySelector("#name").innerText.includes("as baryta shows it")`)
	pick(t, tab, "seen", "rag")
	wait(t, tab, `document.querySelector("#name").innerText.includes("as rag shows it") && document.querySelector("#view").dataset.ready`)
	j, err := interp.Load(context.Background(), path, interp.LoadOptions{NoOutputs: true})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	screen, at, place := look(t, tab, "#view")
	o := proof.Options{Papers: []string{"rag"}, Section: [4]int{300 - int(place[0]), 300 - int(place[1]), 80, 60}}
	want, err := proof.Make(context.Background(), j, "large", o)
	if err != nil {
		t.Fatal(err)
	}
	bad := 0
	for p := range 80 * 60 {
		got := color.NRGBAModel.Convert(screen.At(at.X+300+p%80, at.Y+300+p/80)).(color.NRGBA)
		for k, v := range []uint8{got.R, got.G, got.B} {
			if d := int(v) - int(want.Papers[0].Shown.RGB[3*p+k]); d < -1 || d > 1 {
				bad++
			}
		}
	}
	if bad > 0 {
		t.Errorf("%d samples aren't proof's", bad)
	}
	keys(t, tab, "m", "5")
	wait(t, tab, `document.querySelector("#name").innerText.includes("50 %, as printers judge sharpening · hatched: what rag can't show") && document.querySelector(".hatch i")`)
	keys(t, tab, "m", "f")
	screen, at, place = look(t, tab, "#view")
	c := color.NRGBAModel.Convert(screen.At(at.X+int(place[0])-7, at.Y+300)).(color.NRGBA)
	if got := fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B); got != white {
		t.Errorf("around the picture is %s, the paper's white is %s", got, white)
	}
	keys(t, tab, "r")
	wait(t, tab, `!document.querySelector("#name").innerText.includes("shows it")`)
}

// Beside each other each picture has its own rulers, which count its own pixels.
func TestRulersOfBoth(t *testing.T) {
	s, _ := compared(t)
	tab := browseServer(t, s, 1440, 900, 1)
	pick(t, tab, "with", "print card of r.recipe")
	wait(t, tab, `document.querySelector("#name").innerText.startsWith("left print card")`)
	keys(t, tab, "h", "u", "u")
	wait(t, tab, `document.querySelector("#twin").dataset.ready && document.querySelector("#view").dataset.ready`)
	for box, twin := range map[string]string{"#twin": "twin-", "#view": ""} {
		_, _, place := look(t, tab, box)
		for i, id := range []string{"across", "down"} {
			var marks [][2]float64 // each number, and where its line lies, from the picture's box on
			do(t, tab, chromedp.Evaluate(fmt.Sprintf(`{ const r = document.querySelector("#%s"), k = %d, off = [r.getBoundingClientRect().left - document.querySelector(%q).getBoundingClientRect().left, r.getBoundingClientRect().top - document.querySelector(%[3]q).getBoundingClientRect().top][k];
				[...r.querySelectorAll("text")].map((e) => [parseFloat(e.textContent), off + +e.previousElementSibling.getAttribute(["x1", "y1"][k])]) }`, twin+id, i, box), &marks))
			if len(marks) < 3 {
				t.Errorf("%s of %s has %d numbers", id, box, len(marks))
			}
			for _, m := range marks {
				if want := place[i] + m[0]*place[2]; math.Abs(m[1]-want) > 0.01 {
					t.Errorf("%s of %s: %g lies at %g, the picture has it at %g", id, box, m[0], m[1], want)
				}
			}
		}
	}
}
