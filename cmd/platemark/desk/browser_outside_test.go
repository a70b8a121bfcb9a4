//go:build outside

package desk

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"platemark/interp"
	"platemark/interp/interptest"
	"platemark/ops/raster"
)

// browse opens the page of a recipe in Chromium, in a window of w x h at a pixel
// ratio. What the page complains of fails the test.
func browse(t *testing.T, text string, w, h int64, ratio float64) (tab context.Context, s *Server, path string) {
	t.Helper()
	s, path, _ = opened(t, text)
	return browseServer(t, s, w, h, ratio), s, path
}

func browseServer(t *testing.T, s *Server, w, h int64, ratio float64) (tab context.Context) {
	t.Helper()
	tab = browseUnshown(t, s, w, h, ratio)
	do(t, tab, shown)
	return tab
}

// browseUnshown doesn't wait for the picture.
func browseUnshown(t *testing.T, s *Server, w, h int64, ratio float64) (tab context.Context) {
	t.Helper()
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	address, ended := make(chan string, 1), make(chan error, 1)
	go func() { ended <- s.Serve(ctx, l, nil, func(a string) { address <- a }) }()
	o := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath("chromium"), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()), chromedp.Flag("force-color-profile", "srgb"))
	a, end := chromedp.NewExecAllocator(ctx, o...)
	tab, _ = chromedp.NewContext(a)
	tab, late := context.WithTimeout(tab, 2*time.Minute)
	t.Cleanup(func() { chromedp.Cancel(tab); late(); end(); stop(); <-ended })
	complain(t, tab)
	do(t, tab, chromedp.EmulateViewport(w, h, chromedp.EmulateScale(ratio)), chromedp.Navigate(<-address))
	return tab
}

// another is another window of the same browser.
func another(t *testing.T, tab context.Context, s *Server) context.Context {
	t.Helper()
	var id target.ID
	do(t, tab, chromedp.ActionFunc(func(ctx context.Context) (err error) {
		id, err = target.CreateTarget("about:blank").WithNewWindow(true).Do(cdp.WithExecutor(ctx, chromedp.FromContext(ctx).Browser))
		return err
	}))
	tab, end := chromedp.NewContext(tab, chromedp.WithTargetID(id))
	t.Cleanup(end)
	complain(t, tab)
	do(t, tab, chromedp.Navigate("http://"+s.guard.host+"/"), shown)
	return tab
}

func complain(t *testing.T, tab context.Context) {
	chromedp.ListenTarget(tab, func(ev any) {
		switch e := ev.(type) {
		case *runtime.EventExceptionThrown:
			t.Errorf("the page: %s", e.ExceptionDetails.Error())
		case *log.EventEntryAdded:
			if e.Entry.Level == log.LevelError && !strings.Contains(e.Entry.Text, "409") {
				t.Errorf("the page: %s %s", e.Entry.Text, e.Entry.URL)
			}
		}
	})
}

func do(t *testing.T, tab context.Context, actions ...chromedp.Action) {
	t.Helper()
	if err := chromedp.Run(tab, actions...); err != nil {
		t.Fatal(err)
	}
}

// shown waits until all that is seen of the picture is there.
var shown = chromedp.WaitVisible(`#view[data-ready]:not([data-ready=""])`)

// wait waits until a sentence of JavaScript is true.
func wait(t *testing.T, tab context.Context, sentence string) {
	t.Helper()
	if err := chromedp.Run(tab, chromedp.Poll(sentence, nil, chromedp.WithPollingInterval(50*time.Millisecond), chromedp.WithPollingTimeout(20*time.Second))); err != nil {
		var text, say string
		chromedp.Run(tab, chromedp.Evaluate(`document.querySelector("#text").value`, &text), chromedp.Evaluate(`document.body.innerText`, &say))
		t.Fatalf("%s: %v\n%s\n%s", sentence, err, text, say)
	}
}

// caret puts the caret behind what it finds first in the text.
func caret(t *testing.T, tab context.Context, behind string) {
	t.Helper()
	do(t, tab, chromedp.Evaluate(fmt.Sprintf(`{ const t = document.querySelector("#text"), i = t.value.indexOf(%q); t.focus(); t.setSelectionRange(i + %d, i + %[2]d); }`, behind, len(behind)), nil))
}

// textIs waits until a window has a text.
func textIs(t *testing.T, tab context.Context, text string) {
	t.Helper()
	wait(t, tab, fmt.Sprintf(`document.querySelector("#text").value === %q`, text))
}

// At 100 % a pixel of the print is one of the screen, with the section's own
// codes, whatever the screen's pixel ratio, also where it changes while one looks.
func TestTruePixelsOnTheScreen(t *testing.T) {
	tab, _, path := browse(t, written, 900, 640, 1)
	j, err := interp.Load(context.Background(), path, interp.LoadOptions{NoOutputs: true})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	tif := filepath.Join(t.TempDir(), "whole.tif")
	if _, err = interp.Section(context.Background(), j, j.Plans[0], 0, 0, 0, 0, tif, interp.BuildOptions{}); err != nil {
		t.Fatal(err)
	}
	_, want := interptest.Decode(t, tif)
	do(t, tab, chromedp.Evaluate(`document.querySelector("#view").focus()`, nil), chromedp.KeyEvent("1"), chromedp.KeyEvent(kb.ArrowRight))
	for _, ratio := range []float64{1, 1.25, 1.5, 2, 3} {
		var place string
		var box []float64
		var b []byte
		do(t, tab, chromedp.EmulateViewport(900, 640, chromedp.EmulateScale(ratio)), chromedp.Sleep(1200*time.Millisecond), shown,
			chromedp.Evaluate(`document.querySelector("#view").dataset.place`, &place),
			chromedp.Evaluate(`{ const r = document.querySelector("#view").getBoundingClientRect(); [r.left, r.top] }`, &box),
			chromedp.Sleep(200*time.Millisecond), chromedp.CaptureScreenshot(&b))
		var x0, y0 int
		var z float64
		if _, err := fmt.Sscan(place, &x0, &y0, &z); err != nil || z != 1 {
			t.Fatalf("%q: %v", place, err)
		}
		screen, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		// A square in the middle of the view, across the edges of tiles.
		ox, oy := int(box[0]*ratio+0.99)+x0, int(box[1]*ratio+0.99)+y0
		row := make([]byte, 3*1200)
		bad := 0
		for y := 380; y < 420; y++ {
			raster.Eight(row, want[y*3600:(y+1)*3600], 3, 0, y)
			for x := 490; x < 550; x++ {
				if !(image.Point{ox + x, oy + y}).In(screen.Bounds()) {
					t.Fatalf("ratio %v: %d, %d isn't on the screen", ratio, x, y)
				}
				c := color.NRGBAModel.Convert(screen.At(ox+x, oy+y)).(color.NRGBA)
				for i, v := range []uint8{c.R, c.G, c.B} {
					if d := int(v) - int(row[3*x+i]); d < -1 || d > 1 {
						bad++
					}
				}
			}
		}
		if bad > 0 {
			t.Errorf("ratio %v: %d of %d samples aren't the section's", ratio, bad, 40*60*3)
		}
	}
}

// A mistake shows at its line with its mend, which one key writes; what is typed
// shows in the picture; undo goes back.
func TestWriting(t *testing.T) {
	tab, s, path := browse(t, written, 1440, 900, 1)
	was := func() (key string) {
		do(t, tab, shown, chromedp.Evaluate(`document.querySelector("#view").dataset.ready`, &key))
		return key
	}
	first := was()
	caret(t, tab, "amount 100%")
	do(t, tab, chromedp.KeyEvent(kb.Backspace))
	wait(t, tab, `document.querySelector("#mend").innerText.includes("100%")`)
	do(t, tab, chromedp.KeyEvent(kb.Tab))
	textIs(t, tab, written)
	caret(t, tab, "amount 100")
	do(t, tab, chromedp.KeyEvent("0"), chromedp.KeyEvent(kb.Backspace), chromedp.KeyEvent(kb.Backspace))
	wait(t, tab, fmt.Sprintf(`document.querySelector("#view").dataset.ready !== %q && document.querySelector("#view").dataset.ready`, first))
	textIs(t, tab, strings.Replace(written, "amount 100%", "amount 10%", 1))
	caret(t, tab, "amount 10%")
	do(t, tab, chromedp.KeyEvent(" qui"))
	wait(t, tab, `document.querySelector("#offers li[aria-selected=true]")?.innerText.includes("quiet")`)
	do(t, tab, chromedp.KeyEvent(kb.Tab), chromedp.KeyEvent(" 20%"))
	now := strings.Replace(written, "amount 100%", "amount 10% quiet 20%", 1)
	textIs(t, tab, now)
	wait(t, tab, `document.querySelector("#kept").innerText.includes("not saved")`)
	do(t, tab, chromedp.KeyEvent("s", chromedp.KeyModifiers(2)))
	wait(t, tab, `document.querySelector("#kept").innerText === "as saved"`)
	if got := onDisk(t, path); got != now {
		t.Errorf("saved: %q", got)
	}
	for range 12 {
		do(t, tab, chromedp.KeyEvent("z", chromedp.KeyModifiers(2)))
	}
	textIs(t, tab, written)
	_ = s
}

// A page that is opened while the master is away says what is missing, has all its
// words for later, and shows the picture once the file is back.
func TestWithoutItsMaster(t *testing.T) {
	s, path, _ := opened(t, written)
	master := filepath.Join(filepath.Dir(path), "m.tif")
	if err := os.Rename(master, master+".away"); err != nil {
		t.Fatal(err)
	}
	tab := browseUnshown(t, s, 1440, 900, 1)
	wait(t, tab, `document.body.innerText.includes("there is no file")`)
	var words string
	do(t, tab, chromedp.Evaluate(`document.body.innerText`, &words))
	if strings.Contains(words, "Cannot read") || strings.Contains(words, "\nfrom\n") || !strings.Contains(words, "400 %") {
		t.Errorf("the page says: %s", words)
	}
	if err := os.Rename(master+".away", master); err != nil {
		t.Fatal(err)
	}
	do(t, tab, shown)
}

// Two windows show one text; a file that is edited elsewhere shows in both, and
// where they have something unsaved both texts are offered.
func TestTwoWindows(t *testing.T) {
	tab, s, path := browse(t, written, 1000, 800, 1)
	second := another(t, tab, s)
	caret(t, tab, "sharpen radius 1")
	do(t, tab, chromedp.KeyEvent(".5"))
	now := strings.Replace(written, "radius 1 px", "radius 1.5 px", 1)
	textIs(t, second, now)
	caret(t, second, "# a title")
	do(t, second, chromedp.KeyEvent(" of it"))
	now = strings.Replace(now, "# a title", "# a title of it", 1)
	textIs(t, tab, now)
	do(t, tab, chromedp.KeyEvent("s", chromedp.KeyModifiers(2)))
	wait(t, second, `document.querySelector("#kept").innerText === "as saved"`)
	other := strings.Replace(now, "300 ppi", "200 ppi", 1)
	interptest.Write(t, path, other)
	textIs(t, tab, other)
	textIs(t, second, other)
	caret(t, tab, "# a title")
	do(t, tab, chromedp.KeyEvent("!"))
	wait(t, second, `document.querySelector("#text").value.includes("title!")`)
	interptest.Write(t, path, written)
	wait(t, tab, `!document.querySelector("#clash").hidden`)
	do(t, tab, chromedp.KeyEvent("s", chromedp.KeyModifiers(2)))
	wait(t, tab, `document.querySelector("#doing").innerText.includes("nothing was written over it")`)
	if onDisk(t, path) != written {
		t.Error("the file was written over")
	}
	do(t, second, chromedp.Click("#theirs"))
	textIs(t, tab, written)
	wait(t, tab, `document.querySelector("#clash").hidden`)
}

// drag draws from one place of the picture to others, shares of the frame, with
// the print whole in the picture.
func drag(t *testing.T, tab context.Context, way ...[2]float64) {
	t.Helper()
	var place string
	var box []float64
	do(t, tab, shown, chromedp.Evaluate(`document.querySelector("#view").dataset.place`, &place),
		chromedp.Evaluate(`{ const r = document.querySelector("#view").getBoundingClientRect(); [r.left, r.top] }`, &box))
	var x, y, z float64
	if _, err := fmt.Sscan(place, &x, &y, &z); err != nil {
		t.Fatal(err)
	}
	at := func(p [2]float64) (float64, float64) { return box[0] + x + p[0]*1200*z, box[1] + y + p[1]*800*z }
	send := func(kind input.MouseType, p [2]float64, o ...chromedp.MouseOption) {
		px, py := at(p)
		do(t, tab, chromedp.MouseEvent(kind, px, py, o...))
	}
	left := []chromedp.MouseOption{chromedp.ButtonLeft, chromedp.ClickCount(1)}
	send(input.MousePressed, way[0], left...)
	for _, p := range way[1:] {
		send(input.MouseMoved, p, chromedp.ButtonLeft)
	}
	send(input.MouseReleased, way[len(way)-1], left...)
}

// A spot and a stroke that are drawn become lines of the recipe; their points are
// dragged; undo takes each back.
func TestPointing(t *testing.T) {
	tab, _, _ := browse(t, written, 1440, 900, 1)
	has := func(what string) {
		t.Helper()
		wait(t, tab, fmt.Sprintf(`new RegExp(%q).test(document.querySelector("#text").value)`, what))
	}
	do(t, tab, chromedp.Evaluate(`document.querySelector("#view").focus()`, nil), chromedp.KeyEvent("s"))
	drag(t, tab, [2]float64{0.5, 0.5})
	has(`spot at \(30%, 30%\) radius 0.9%\n    spot at \((50|49.9\d|50.0\d)%, (50|49.9\d|50.0\d)%\) radius 0.3%`)
	wait(t, tab, `document.querySelectorAll("#marks .handle").length === 1`)
	// The ring stays at the end of the print, where its effect is seen.
	wait(t, tab, `document.querySelector("#name").innerText.includes("save tiff")`)
	do(t, tab, chromedp.KeyEvent(kb.Escape))
	drag(t, tab, [2]float64{0.5, 0.5}, [2]float64{0.55, 0.6}, [2]float64{0.6, 0.7})
	has(`spot at \((60|59.9\d|60.0\d)%, (70|69.9\d|70.0\d)%\) radius 0.3%`)
	do(t, tab, chromedp.KeyEvent("z", chromedp.KeyModifiers(2)))
	has(`spot at \((50|49.9\d|50.0\d)%,`)
	do(t, tab, chromedp.KeyEvent("z", chromedp.KeyModifiers(2)))
	textIs(t, tab, written)
	do(t, tab, chromedp.KeyEvent("t"))
	drag(t, tab, [2]float64{0.1, 0.1}, [2]float64{0.2, 0.1}, [2]float64{0.3, 0.1}, [2]float64{0.3, 0.4})
	has(`mask drawn-1 \{\n    stroke along \([\d.]+%, [\d.]+%\), \([\d.]+%, [\d.]+%\), \([\d.]+%, [\d.]+%\) width 6% soft 50%\n\}`)
	// What the system takes away draws nothing.
	do(t, tab, chromedp.KeyEvent("e"), chromedp.Evaluate(`{
		const v = document.querySelector("#view"), send = (kind, x) => v.dispatchEvent(new PointerEvent(kind, { pointerId: 1, button: 0, clientX: 700 + x, clientY: 400 + x, bubbles: true }));
		v.setPointerCapture = () => {};
		send("pointerdown", 0); send("pointermove", 50); send("pointercancel", 50); send("pointerup", 50);
	}`, nil), chromedp.Sleep(500*time.Millisecond), chromedp.KeyEvent("z", chromedp.KeyModifiers(2)))
	textIs(t, tab, written)
}

// The fold shows the picture of one line left of it and of another right of it,
// both in the same place, and goes along by key.
func TestFold(t *testing.T) {
	tab, s, _ := browse(t, written, 900, 700, 1)
	caret(t, tab, "sharpen radius")
	do(t, tab, chromedp.KeyEvent(kb.Enter, chromedp.KeyModifiers(1)))
	wait(t, tab, `document.querySelector("#name").innerText.includes("line 19: sharpen")`)
	do(t, tab, chromedp.Evaluate(`document.querySelector("#view").focus()`, nil), chromedp.KeyEvent("1"), chromedp.KeyEvent("l"), shown)
	wait(t, tab, `document.querySelectorAll("#beside img").length >= 4`)
	do(t, tab, chromedp.Evaluate(`document.querySelector("#fold").focus()`, nil), chromedp.KeyEvent(kb.ArrowLeft), chromedp.KeyEvent(kb.ArrowLeft))
	wait(t, tab, `document.querySelector("#fold").getAttribute("aria-valuenow") === "46"`)
	var place string
	var box []float64
	var b []byte
	do(t, tab, chromedp.Sleep(500*time.Millisecond), chromedp.Evaluate(`document.querySelector("#view").dataset.place`, &place),
		chromedp.Evaluate(`{ const r = document.querySelector("#view").getBoundingClientRect(); [r.left, r.top, r.width, r.height] }`, &box), chromedp.CaptureScreenshot(&b))
	screen, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	var x0, y0, z int
	if _, err := fmt.Sscan(place, &x0, &y0, &z); err != nil {
		t.Fatal(err)
	}
	st, err := s.state(context.Background(), 0, "p", 19, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, half := range []struct {
		key  string
		from int // in the view
	}{{st.Before.Key, 200}, {st.Picture.Key, int(0.46*box[2]) + 40}} {
		x, y := half.from-x0, 100-y0
		tile, err := s.tile(context.Background(), half.key, level{by: 1}, image.Rect(x, y, x+60, y+40))
		if err != nil {
			t.Fatal(err)
		}
		want, err := png.Decode(bytes.NewReader(tile))
		if err != nil {
			t.Fatal(err)
		}
		for j := range 40 {
			for i := range 60 {
				got := color.NRGBAModel.Convert(screen.At(int(box[0])+half.from+i, int(box[1])+100+j)).(color.NRGBA)
				w := color.NRGBAModel.Convert(want.At(i, j)).(color.NRGBA)
				if d := max(int(got.R)-int(w.R), int(w.R)-int(got.R), int(got.G)-int(w.G), int(w.G)-int(got.G)); d > 1 {
					t.Fatalf("at %d, %d of the half from %d: %v, the line's picture has %v", i, j, half.from, got, w)
				}
			}
		}
	}
}
