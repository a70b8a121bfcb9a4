package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/mattn/go-runewidth"
	"golang.org/x/term"

	"platemark/lang"
)

// app is what every command needs: where to talk, and how.
type app struct {
	ctx    context.Context
	out    io.Writer
	told   teller // the same without a terminal
	err    io.Writer
	colour bool // on the error output
	width  int  // of the terminal; 100 where there is none
	bar    progress
}

// newApp talks to a terminal in lines of its width, elsewhere as it stands.
func newApp(ctx context.Context, stdout, stderr io.Writer) *app {
	a := &app{ctx: ctx, told: teller{w: stdout}, err: stderr, width: 100}
	a.out = &a.told
	if f, w := terminal(stderr); f != nil {
		a.bar.screen, a.bar.width = f, w
		a.width, a.err, a.colour = w, &folded{w: f, width: w, bar: &a.bar}, coloured(f)
	}
	if f, w := terminal(stdout); f != nil {
		a.out = &folded{w: f, width: w, bar: &a.bar}
	}
	return a
}

// teller writes to w and remembers the first failure.
type teller struct {
	w   io.Writer
	err error
}

func (t *teller) Write(b []byte) (int, error) {
	n, err := t.w.Write(b)
	t.err = cmp.Or(t.err, err)
	return n, err
}

// The words that messages begin with.
const (
	anError   = "error"
	aHint     = "hint"
	aWarning  = "warning"
	aNote     = "note"
	different = "different"
)

// say writes a message behind its word to the error output.
func (a *app) say(word, format string, v ...any) {
	fmt.Fprintf(a.err, "%s: %s\n", word, fmt.Sprintf(format, v...))
}

// problems shows the diagnostics that matter at least as much as least.
func (a *app) problems(source []byte, ds []lang.Diagnostic, least lang.Severity) {
	show := slices.DeleteFunc(slices.Clone(ds), func(d lang.Diagnostic) bool { return d.Severity > least })
	if len(show) > 0 {
		lang.Render(a.err, source, show, lang.RenderOptions{Colour: a.colour, Width: a.width})
	}
}

func (a *app) json(v any) error {
	a.bar.close()
	e := json.NewEncoder(unfolded(a.out))
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// end ends a command: with v as JSON where that was asked for, and as refused
// where something failed.
func (a *app) end(asJSON bool, v any, failed bool) error {
	if asJSON {
		if err := a.json(v); err != nil {
			return err
		}
	}
	if failed {
		return errRefused
	}
	return nil
}

// Colours of words: what came, what went, what moved, by how much, and heads.
const (
	green  = "32"
	red    = "31"
	cyan   = "36"
	yellow = "33"
	bold   = "1"
)

func paint(colour bool, code, s string) string {
	if !colour || code == "" {
		return s
	}
	return "\x1b[" + code + "m" + harmless(s) + "\x1b[0m"
}

// harmless replaces characters that would steer a terminal.
func harmless(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 0x20 && r != '\t' || r >= 0x7F && r < 0xA0 {
			return '\uFFFD'
		}
		return r
	}, s)
}

// coloured says whether a terminal is to be coloured.
func coloured(f *os.File) bool {
	return os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" && escapes(f)
}

// outColour says whether the standard output may be coloured.
func (a *app) outColour() bool {
	f, ok := unfolded(a.out).(*os.File)
	return ok && a.outWidth() > 0 && coloured(f)
}

func pad(s string, n int) string {
	return s + strings.Repeat(" ", max(n-utf8.RuneCountInString(s), 0))
}

func cutText(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}

// shortPath is a path as seen from here, or its bare name: tables go out with
// the prints, and name no folder of this machine.
func shortPath(path string) string {
	if here, err := os.Getwd(); err == nil {
		if rel, err := filepath.Rel(here, path); err == nil && filepath.IsLocal(rel) {
			return rel
		}
	}
	return filepath.Base(path)
}

// terminal is w as a terminal and its width in cells, nil where it is none.
func terminal(w io.Writer) (*os.File, int) {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil, 0
	}
	width, _, err := term.GetSize(int(f.Fd()))
	if err != nil || width <= 20 {
		width = 100
	}
	return f, width
}

// folded writes lines to a terminal, broken between words where they are wider
// than it; what follows stands four cells deeper than the line began. Lines
// with colours were fitted before and stay as they are. A bar goes first.
type folded struct {
	w     io.Writer
	width int
	bar   *progress
	rest  []byte // a line without its end
}

func (f *folded) Write(b []byte) (int, error) {
	f.bar.close()
	f.rest = append(f.rest, b...)
	i := bytes.LastIndexByte(f.rest, '\n') + 1
	var out strings.Builder
	for line := range strings.Lines(string(f.rest[:i])) {
		f.line(&out, line)
	}
	f.rest = append(f.rest[:0], f.rest[i:]...)
	_, err := io.WriteString(f.w, out.String())
	return len(b), err
}

func (f *folded) line(out *strings.Builder, line string) {
	deep := 4 + len(line) - len(strings.TrimLeft(line, " "))
	for strings.IndexByte(line, '\x1b') < 0 && runewidth.StringWidth(strings.TrimRight(line, " \n")) > f.width {
		fits := len(runewidth.Truncate(line, f.width+1, "")) // its last may be the space
		at := strings.LastIndexByte(line[:fits], ' ')
		if strings.TrimSpace(line[:max(at, 0)]) == "" { // one long word
			if at = strings.IndexByte(line[fits:], ' '); at < 0 {
				break
			}
			at += fits
		}
		out.WriteString(strings.TrimRight(line[:at], " ") + "\n")
		line = strings.Repeat(" ", min(deep, f.width/2)) + strings.TrimLeft(line[at:], " ")
	}
	out.WriteString(line)
}

// flush writes what a folded writer still holds.
func flush(w io.Writer) {
	if f, ok := w.(*folded); ok && len(f.rest) > 0 {
		f.Write([]byte("\n"))
	}
}

// unfolded is w without the breaking of lines, for data.
func unfolded(w io.Writer) io.Writer {
	if f, ok := w.(*folded); ok {
		return f.w
	}
	return w
}

// outWidth is the width of the terminal that the output goes to, 0 where it
// goes elsewhere.
func (a *app) outWidth() int {
	if f, ok := a.out.(*folded); ok {
		return f.width
	}
	return 0
}
