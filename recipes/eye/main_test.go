package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestARowIsDrawnBesideAnotherVersion(t *testing.T) {
	one := []row{{"local", []subject{{from: edge, step: "tone", args: "local 1, local-radius 20"}}}}
	old, dir := t.TempDir(), t.TempDir()
	if err := draw(old, "", one); err != nil {
		t.Fatal(err)
	}
	one = append(one, row{"new here", []subject{{from: edge, step: "sharpen", args: "radius 1, amount 1"}}})
	if err := draw(dir, old, one); err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile(filepath.Join(dir, "eye.html"))
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(page), "<figure>"); n != 5 || !strings.Contains(string(page), "L* beyond") {
		t.Errorf("%d pictures on the page, expected 5, and the halo:\n%s", n, page)
	}
	before, after := read(t, dir, "local-1-before.png"), read(t, dir, "local-1-after.png")
	if before == after || after != read(t, old, "local-1-after.png") {
		t.Error("the step did nothing, or not the same again")
	}
}

func read(t *testing.T, dir, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
