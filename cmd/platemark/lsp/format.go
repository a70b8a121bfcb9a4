package lsp

import (
	"bytes"
	"context"

	"platemark/lang"
)

// format brings a recipe into its canonical form. A recipe with errors is left
// as it is: the editor shows them.
func (s *server) format(_ context.Context, t *text, _ docParams) (any, error) {
	edits := []textEdit{}
	out, _ := lang.Format(t.name(), t.src)
	if out == nil || bytes.Equal(out, t.src) {
		return edits, nil
	}
	// Only the lines between the first and the last that differ are replaced,
	// so that the editor keeps its place.
	from := common(t.src, out)
	for from > 0 && t.src[from-1] != '\n' {
		from--
	}
	to, end := len(t.src), len(out)
	for to > from && end > from && t.src[to-1] == out[end-1] {
		to--
		end--
	}
	// To the end of the line: no character is cut in two, nor a line end.
	for to < len(t.src) && t.src[to-1] != '\n' {
		to++
		end++
	}
	return append(edits, textEdit{t.span(from, to), string(out[from:end])}), nil
}

// common is how many bytes two texts begin with alike.
func common(a, b []byte) int {
	n := 0
	for n < len(a) && n < len(b) && a[n] == b[n] {
		n++
	}
	return n
}
