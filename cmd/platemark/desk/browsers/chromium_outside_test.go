//go:build outside

package browsers

import (
	"context"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// chromium is driven by its own protocol.
type chromium struct{ tab context.Context }

func newChromium(t *testing.T) browser {
	o := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath("chromium"), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()), chromedp.Flag("force-color-profile", "srgb"))
	a, end := chromedp.NewExecAllocator(context.Background(), o...)
	tab, _ := chromedp.NewContext(a)
	tab, late := context.WithTimeout(tab, 10*time.Minute)
	t.Cleanup(func() { chromedp.Cancel(tab); late(); end() })
	chromedp.ListenTarget(tab, func(ev any) {
		switch e := ev.(type) {
		case *runtime.EventExceptionThrown:
			t.Errorf("the page: %s", e.ExceptionDetails.Error())
		case *log.EventEntryAdded:
			if e.Entry.Level == log.LevelError && e.Entry.Source != log.SourceNetwork {
				t.Errorf("the page: %s %s", e.Entry.Text, e.Entry.URL)
			}
		}
	})
	return &chromium{tab}
}

func (c *chromium) do(t *testing.T, actions ...chromedp.Action) {
	t.Helper()
	if err := chromedp.Run(c.tab, actions...); err != nil {
		t.Fatal(err)
	}
}

func (c *chromium) open(t *testing.T, address string, w, h int) {
	t.Helper()
	c.do(t, chromedp.EmulateViewport(int64(w), int64(h)), chromedp.Navigate(address))
}

func (c *chromium) eval(t *testing.T, expression string, v any) {
	t.Helper()
	c.do(t, chromedp.Evaluate(expression, v, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
}

func (c *chromium) key(t *testing.T, key string, held ...string) {
	t.Helper()
	if k, ok := map[string]string{"Enter": kb.Enter, "Escape": kb.Escape, "Tab": kb.Tab, "Backspace": kb.Backspace, "Space": " "}[key]; ok {
		key = k
	}
	m := input.ModifierNone
	for _, h := range held {
		m |= map[string]input.Modifier{"Control": input.ModifierCtrl, "Shift": input.ModifierShift, "Alt": input.ModifierAlt}[h]
	}
	c.do(t, chromedp.KeyEvent(key, chromedp.KeyModifiers(m)))
}

func (c *chromium) drag(t *testing.T, way ...[2]float64) {
	t.Helper()
	left := []chromedp.MouseOption{chromedp.ButtonLeft, chromedp.ClickCount(1)}
	z := way[len(way)-1]
	c.do(t, chromedp.MouseEvent(input.MousePressed, way[0][0], way[0][1], left...))
	for _, p := range way[1:] {
		c.do(t, chromedp.MouseEvent(input.MouseMoved, p[0], p[1], chromedp.ButtonLeft))
	}
	c.do(t, chromedp.MouseEvent(input.MouseReleased, z[0], z[1], left...))
}

func (c *chromium) shot(t *testing.T) (b []byte) {
	t.Helper()
	c.do(t, chromedp.CaptureScreenshot(&b))
	return b
}
