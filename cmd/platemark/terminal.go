package main

import (
	"bytes"
	"io"
	"os"
	"strings"

	"github.com/mattn/go-runewidth"
	"golang.org/x/term"
)

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
// with colours were fitted before and stay as they are.
type folded struct {
	w     io.Writer
	width int
	rest  []byte // a line without its end
}

func (f *folded) Write(b []byte) (int, error) {
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
