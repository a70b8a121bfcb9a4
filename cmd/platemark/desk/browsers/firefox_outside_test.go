//go:build outside

package browsers

import (
	"bufio"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gobwas/ws"
	"github.com/gobwas/ws/wsutil"

	"platemark/interp/interptest"
)

// firefox is driven by WebDriver BiDi (W3C), of which these tests need a dozen
// commands.
type firefox struct {
	conn    io.ReadWriter
	asked   int
	context string // its window
}

// Pictures are shown in the numbers of sRGB, and nothing is fetched from outside.
const prefs = `user_pref("gfx.color_management.force_srgb", true);
user_pref("app.update.enabled", false);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("toolkit.telemetry.enabled", false);
user_pref("network.captive-portal-service.enabled", false);
user_pref("network.connectivity-service.enabled", false);
user_pref("browser.startup.page", 0);
`

func newFirefox(t *testing.T) browser {
	profile := t.TempDir()
	interptest.Write(t, filepath.Join(profile, "user.js"), prefs)
	c := exec.Command("firefox-esr", "--headless", "--no-remote", "--profile", profile, "--remote-debugging-port", "0")
	c.Env = append(os.Environ(), "HOME="+profile, "MOZ_CRASHREPORTER_DISABLE=1")
	out, err := c.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	address := make(chan string, 1)
	go func() {
		for in := bufio.NewScanner(out); in.Scan(); {
			if _, a, ok := strings.Cut(in.Text(), "listening on "); ok {
				address <- a
			}
		}
	}()
	f := &firefox{}
	select {
	case a := <-address:
		conn, _, _, err := ws.Dial(context.Background(), a+"/session")
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { conn.Close() })
		f.conn = conn
	case <-time.After(time.Minute):
		t.Fatal("firefox-esr says no address")
	}
	f.ask(t, "session.new", `{"capabilities": {}}`, nil)
	var tree struct{ Contexts []struct{ Context string } }
	f.ask(t, "browsingContext.getTree", `{}`, &tree)
	f.context = tree.Contexts[0].Context
	f.ask(t, "session.subscribe", `{"events": ["log.entryAdded"]}`, nil)
	return f
}

// ask sends a command and waits for its answer. What the page complains of
// meanwhile fails the test.
func (f *firefox) ask(t *testing.T, method, params string, v any) {
	t.Helper()
	f.asked++
	q := fmt.Sprintf(`{"id": %d, "method": %q, "params": %s}`, f.asked, method, params)
	if err := wsutil.WriteClientText(f.conn, []byte(q)); err != nil {
		t.Fatal(err)
	}
	for {
		b, err := wsutil.ReadServerText(f.conn)
		if err != nil {
			t.Fatalf("%s: %v", method, err)
		}
		var a struct {
			ID             int
			Type, Message  string
			Method         string
			Result, Params json.RawMessage
		}
		if err := json.Unmarshal(b, &a); err != nil {
			t.Fatalf("%s: %v", b, err)
		}
		switch {
		case a.Method == "log.entryAdded":
			var e struct{ Level, Type, Text string }
			if json.Unmarshal(a.Params, &e); e.Level == "error" && e.Type == "javascript" {
				t.Errorf("the page: %s", e.Text)
			}
		case a.ID != f.asked:
		case a.Type == "error":
			t.Fatalf("%s: %s", q, a.Message)
		case v != nil:
			if err := json.Unmarshal(a.Result, v); err != nil {
				t.Fatalf("%s: %v", b, err)
			}
			return
		default:
			return
		}
	}
}

func quoted(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err) // of what a test wrote
	}
	return string(b)
}

func (f *firefox) open(t *testing.T, address string, w, h int) {
	t.Helper()
	f.ask(t, "browsingContext.setViewport", fmt.Sprintf(`{"context": %q, "viewport": {"width": %d, "height": %d}}`, f.context, w, h), nil)
	f.ask(t, "browsingContext.navigate", fmt.Sprintf(`{"context": %q, "url": %q, "wait": "complete"}`, f.context, address), nil)
}

func (f *firefox) eval(t *testing.T, expression string, v any) {
	t.Helper()
	if v != nil {
		expression = "Promise.resolve(" + expression + ").then(JSON.stringify)"
	}
	var a struct {
		Type             string
		Result           struct{ Value json.RawMessage }
		ExceptionDetails struct{ Text string }
	}
	f.ask(t, "script.evaluate", fmt.Sprintf(`{"expression": %s, "target": {"context": %q}, "awaitPromise": true}`, quoted(expression), f.context), &a)
	var s string
	if a.Type != "success" {
		t.Fatalf("%s: %s", expression, a.ExceptionDetails.Text)
	}
	if v == nil {
		return
	}
	if err := json.Unmarshal(a.Result.Value, &s); err == nil {
		err = json.Unmarshal([]byte(s), v)
		if err != nil {
			t.Fatalf("%s: %v", expression, err)
		}
	}
}

// perform lets a device do something: objects of WebDriver's actions.
func (f *firefox) perform(t *testing.T, device string, list ...string) {
	t.Helper()
	f.ask(t, "input.performActions", fmt.Sprintf(`{"context": %q, "actions": [{%s, "actions": [%s]}]}`, f.context, device, strings.Join(list, ", ")), nil)
}

func (f *firefox) key(t *testing.T, key string, held ...string) {
	t.Helper()
	// The keys of WebDriver that stand for no letter.
	if k, ok := map[string]string{"Backspace": "\ue003", "Tab": "\ue004", "Enter": "\ue007", "Escape": "\ue00c", "Space": " "}[key]; ok {
		key = k
	}
	press := func(kind, k string) string { return fmt.Sprintf(`{"type": %q, "value": %s}`, kind, quoted(k)) }
	list := []string{press("keyDown", key), press("keyUp", key)}
	for _, h := range held {
		k := map[string]string{"Shift": "\ue008", "Control": "\ue009", "Alt": "\ue00a"}[h]
		list = append(append([]string{press("keyDown", k)}, list...), press("keyUp", k))
	}
	f.perform(t, `"type": "key", "id": "keys"`, list...)
}

func (f *firefox) drag(t *testing.T, way ...[2]float64) {
	t.Helper()
	move := func(p [2]float64) string {
		return fmt.Sprintf(`{"type": "pointerMove", "x": %.0f, "y": %.0f}`, p[0], p[1])
	}
	list := []string{move(way[0]), `{"type": "pointerDown", "button": 0}`}
	for _, p := range way[1:] {
		list = append(list, move(p))
	}
	f.perform(t, `"type": "pointer", "id": "hand", "parameters": {"pointerType": "mouse"}`, append(list, `{"type": "pointerUp", "button": 0}`)...)
}

func (f *firefox) shot(t *testing.T) []byte {
	t.Helper()
	var a struct{ Data string }
	f.ask(t, "browsingContext.captureScreenshot", fmt.Sprintf(`{"context": %q}`, f.context), &a)
	b, err := base64.StdEncoding.DecodeString(a.Data)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
