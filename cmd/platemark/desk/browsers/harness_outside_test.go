//go:build outside

// Package browsers goes through the page of `platemark view` as its user does, in
// Chromium and in Firefox, with the command itself behind it.
package browsers

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"platemark/interp/interptest"
)

// command is the path of platemark, built for these tests.
var command string

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "platemark-browsers-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	command = filepath.Join(dir, "platemark")
	out, err := exec.Command("go", "build", "-o", command, "platemark/cmd/platemark").CombinedOutput()
	code := 1
	if err == nil {
		code = m.Run()
	} else {
		fmt.Fprintf(os.Stderr, "%v\n%s", err, out)
	}
	os.RemoveAll(dir)
	os.Exit(code)
}

// A browser has one window with the page. x and y are CSS pixels of the window.
type browser interface {
	open(t *testing.T, address string, w, h int)
	eval(t *testing.T, expression string, v any) // a promise's value, where it is one
	key(t *testing.T, key string, held ...string)
	drag(t *testing.T, way ...[2]float64) // a click where it is one place
	shot(t *testing.T) []byte             // a PNG file
}

// desk is a recipe in the page of a running command.
type desk struct {
	*testing.T
	browser
	path, cache string
	process     *exec.Cmd
}

const shore = `recipe 1 draft
title "Grey shore, morning"   # the first of four
master "shore.tif" space sRGB

print wall {
    size 12 in x 8 in at 300 ppi
    enlarge with lanczos3 as crisp
    enlarge with mitchell as smooth
    blend smooth over crisp at 40%
    sharpen radius 1.2 px amount 120%
    save tiff "wall.tif" bits 8
}
`

// specks are where the master of shore has its dark specks, px of 1800 x 1200.
var specks = [][2]int{{300, 240}, {900, 180}, {1500, 300}, {420, 840}, {1310, 1010}}

// served writes the shore's recipe and master, and shows it in a browser.
func served(t *testing.T, b browser, text string, w, h int) *desk {
	t.Helper()
	d := &desk{T: t, browser: b, path: filepath.Join(t.TempDir(), "shore.recipe"), cache: t.TempDir()}
	interptest.Write(t, d.path, text)
	interptest.WritePicture(t, filepath.Join(filepath.Dir(d.path), "shore.tif"), 1800, 1200, 3, "", func(x, y, c int) uint16 {
		v := 26000 + 8*float64(y) + 1500*math.Sin(float64(x)/310+float64(c)) + float64(interptest.Noise(x, y, c)&511)
		for _, p := range specks {
			r := math.Hypot(float64(x-p[0]), float64(y-p[1])) / 4
			v *= 1 - 0.5*math.Exp(-r*r)
		}
		return uint16(v)
	})
	d.serve(w, h)
	return d
}

// serve starts the command and opens its page.
func (d *desk) serve(w, h int) {
	d.Helper()
	c := exec.Command(command, "view", "--no-browser", d.path)
	c.Env = append(os.Environ(), "XDG_CACHE_HOME="+d.cache)
	c.Stderr = os.Stderr
	in, err := c.StdinPipe() // its end would be read as Enter's
	if err != nil {
		d.Fatal(err)
	}
	out, err := c.StdoutPipe()
	if err != nil {
		d.Fatal(err)
	}
	if err := c.Start(); err != nil {
		d.Fatal(err)
	}
	d.process = c
	d.Cleanup(func() { in.Close(); c.Process.Kill(); c.Wait() })
	lines := bufio.NewScanner(out)
	if !lines.Scan() {
		d.Fatal("the command says no address")
	}
	address := lines.Text()
	go func() {
		for lines.Scan() {
		}
	}()
	d.open(d.T, address, w, h)
	d.ready()
}

// wait waits until an expression is true.
func (d *desk) wait(format string, v ...any) {
	d.Helper()
	what := fmt.Sprintf(format, v...)
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(40 * time.Millisecond) {
		var ok bool
		if d.eval(d.T, "!!("+what+")", &ok); ok {
			return
		}
	}
	d.Fatalf("it never comes to %s\n%s\n%s", what, d.value("document.querySelector('#text').value"), d.value("document.body.innerText"))
}

// ready waits until all that is seen of the picture is there.
func (d *desk) ready() { d.Helper(); d.wait(`document.querySelector("#view").dataset.ready`) }

// calm is the picture that is shown once it stays for two seconds.
func (d *desk) calm() (key string) {
	d.Helper()
	for since := time.Now(); key == "" || time.Since(since) < 2*time.Second; time.Sleep(100 * time.Millisecond) {
		d.ready()
		if now := d.value(`document.querySelector("#view").dataset.ready`); now != key {
			key, since = now, time.Now()
		}
	}
	return key
}

func (d *desk) value(expression string) (s string) {
	d.Helper()
	d.eval(d.T, expression, &s)
	return s
}

func (d *desk) text() string { d.Helper(); return d.value(`document.querySelector("#text").value`) }

// keys presses keys on the picture, one after the other.
func (d *desk) keys(list ...string) {
	d.Helper()
	d.eval(d.T, `document.querySelector("#view").focus()`, nil)
	for _, k := range list {
		d.key(d.T, k)
	}
}

// write puts the caret behind what it finds first in the text, takes so many
// letters back and types others.
func (d *desk) write(behind string, back int, letters string) {
	d.Helper()
	d.eval(d.T, fmt.Sprintf(`{ const t = document.querySelector("#text"), i = t.value.indexOf(%q) + %d; t.focus(); t.setSelectionRange(i, i); }`, behind, len(behind)), nil)
	for range back {
		d.key(d.T, "Backspace")
	}
	for _, l := range letters {
		d.key(d.T, string(l))
	}
	d.key(d.T, "Escape") // what is offered is not wanted
}

// hand draws from one place of the frame to others, in shares of it, with the print
// whole in the window.
func (d *desk) hand(way ...[2]float64) {
	d.Helper()
	d.ready()
	var box []float64
	d.eval(d.T, `(() => { const v = document.querySelector("#view"), r = v.getBoundingClientRect(); return [r.left, r.top, ...v.dataset.place.split(" ").map(Number)]; })()`, &box)
	for i, p := range way {
		way[i] = [2]float64{box[0] + box[2] + p[0]*3600*box[4], box[1] + box[3] + p[1]*2400*box[4]}
	}
	d.drag(d.T, way...)
}

// kept waits until the page says so of the file.
func (d *desk) kept(what string) {
	d.Helper()
	d.wait(`document.querySelector("#kept").innerText.includes(%q)`, what)
}

func (d *desk) has(pattern string) {
	d.Helper()
	d.wait(`new RegExp(%q).test(document.querySelector("#text").value)`, pattern)
}

// run runs the command in the recipe's folder.
func (d *desk) run(args ...string) string {
	d.Helper()
	c := exec.Command(command, args...)
	c.Dir = filepath.Dir(d.path)
	out, err := c.CombinedOutput()
	if err != nil {
		d.Fatalf("platemark %s: %v\n%s", strings.Join(args, " "), err, out)
	}
	return string(out)
}
