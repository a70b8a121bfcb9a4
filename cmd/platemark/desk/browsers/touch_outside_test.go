//go:build outside

package browsers

import (
	"fmt"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
)

// A pen draws a stroke, which is discarded where the system takes the pen away; a
// finger moves the picture, beside a pen also while something is drawn, and draws
// where there is no pen.
func TestPenAndTouch(t *testing.T) {
	c := newChromium(t).(*chromium)
	d := served(t, c, shore, 1440, 900)
	c.do(t, emulation.SetTouchEmulationEnabled(true))
	pen := func(kind input.MouseType, x, y float64) {
		t.Helper()
		c.do(t, input.DispatchMouseEvent(kind, x, y).WithButton(input.Left).WithButtons(1).WithClickCount(1).WithPointerType(input.Pen))
	}
	finger := func(kind input.TouchType, points ...*input.TouchPoint) {
		t.Helper()
		c.do(t, input.DispatchTouchEvent(kind, points))
	}
	at := func(x, y float64) *input.TouchPoint { return &input.TouchPoint{X: x, Y: y} }
	place := func() (x, y, z float64) {
		t.Helper()
		d.ready()
		if _, err := fmt.Sscan(d.value(`document.querySelector("#view").dataset.place`), &x, &y, &z); err != nil {
			t.Fatal(err)
		}
		return x, y, z
	}
	moved := func(when string, dx, dy float64) {
		t.Helper()
		x, y, _ := place()
		finger(input.TouchStart, at(900, 400))
		finger(input.TouchMove, at(900+dx/2, 400+dy/2))
		finger(input.TouchMove, at(900+dx, 400+dy))
		finger(input.TouchEnd)
		if u, v, _ := place(); u != x+dx || v != y+dy {
			t.Errorf("%s a finger moved the picture by %g, %g, not by %g, %g", when, u-x, v-y, dx, dy)
		}
	}
	drawing := func() (n int) {
		d.eval(t, `document.querySelectorAll("#marks .drawn .broad").length`, &n)
		return n
	}
	d.keys("1")
	moved("with no word chosen", -60, 40)

	d.keys("t")
	x, y, _ := place()
	finger(input.TouchStart, at(800, 300))
	finger(input.TouchMove, at(860, 340))
	if drawing() != 1 {
		t.Error("a finger without a pen draws nothing")
	}
	finger(input.TouchCancel)
	if u, v, _ := place(); drawing() != 0 || u != x || v != y {
		t.Errorf("a cancelled finger left %d strokes, and the picture at %g, %g", drawing(), u-x, v-y)
	}

	pen(input.MousePressed, 800, 300)
	pen(input.MouseMoved, 860, 340)
	if drawing() != 1 {
		t.Error("a pen draws nothing")
	}
	// A palm beside it, and what the system takes away of that, leave the stroke alone.
	finger(input.TouchStart, at(1100, 600))
	finger(input.TouchMove, at(1140, 600))
	finger(input.TouchCancel)
	if u, v, _ := place(); drawing() != 1 || u != x || v != y {
		t.Errorf("with a palm beside it there are %d strokes, and the picture lies at %g, %g", drawing(), u-x, v-y)
	}
	d.eval(t, `document.querySelector("#view").addEventListener("pointermove", (e) => { if (e.pointerType === "pen") window.pen = e.pointerId; })`, nil)
	pen(input.MouseMoved, 900, 350)
	d.eval(t, `document.querySelector("#view").dispatchEvent(new PointerEvent("pointercancel", { pointerId: window.pen, pointerType: "pen", bubbles: true }))`, nil)
	if drawing() != 0 {
		t.Error("a cancelled pen leaves its stroke")
	}
	pen(input.MouseReleased, 900, 350)
	moved("with stroke chosen, beside a pen,", 50, -30)
	if got := d.text(); got != shore {
		t.Errorf("what was cancelled was drawn:\n%s", got)
	}

	pen(input.MousePressed, 800, 300)
	pen(input.MouseMoved, 860, 340)
	pen(input.MouseMoved, 920, 330)
	pen(input.MouseReleased, 920, 330)
	d.has(`mask drawn-1 \{\n    stroke along \(.*\) width 6% soft 50%\n\}`)
}
