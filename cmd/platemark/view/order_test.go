package view

import (
	"bytes"
	"compress/zlib"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// However long titles are, all that is written of a print stays on its page.
func TestOrderStaysOnItsPages(t *testing.T) {
	o := &Order{Title: "Order"}
	for range 12 {
		p := OrderPrint{Title: strings.Repeat("The salt road in winter ", 12), Warn: []string{"a warning"}}
		for range 5 {
			p.Say("Size", "60 × 40 in", false)
		}
		o.Prints = append(o.Prints, p)
	}
	_, file, err := WriteOrder(o)
	if err != nil {
		t.Fatal(err)
	}
	var lines [][][]byte
	for _, part := range bytes.Split(file, []byte("stream\n")) {
		if z, err := zlib.NewReader(bytes.NewReader(part)); err == nil {
			content, _ := io.ReadAll(z)
			lines = append(lines, regexp.MustCompile(`([0-9.-]+) ([0-9.-]+) Td\b`).FindAllSubmatch(content, -1)...)
		}
	}
	if len(lines) < 12*7 {
		t.Fatalf("%d lines of letters are found", len(lines))
	}
	for _, l := range lines {
		if y, _ := strconv.ParseFloat(string(l[2]), 64); y < orderEdge {
			t.Errorf("a line stands %.1f points above the page's end", y)
		}
	}
	if n := bytes.Count(file, []byte("/Type /Page ")); n < 3 {
		t.Errorf("%d pages", n)
	}
}
