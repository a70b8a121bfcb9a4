package main

import (
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// A pattern that the shell left alone means the files of its folder; only the
// file's name is a pattern, and only by * and ?.
func TestPatterns(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "d[1]")
	if err := os.MkdirAll(filepath.Join(dir, "folder.recipe"), 0o777); err != nil {
		t.Fatal(err)
	}
	for _, n := range []string{"b.recipe", "a.recipe", "a[2].recipe", "a.tif", ".hidden.recipe"} {
		write(t, filepath.Join(dir, n), "")
	}
	for pattern, want := range map[string][]string{
		"*.recipe":     {"a.recipe", "a[2].recipe", "b.recipe"},
		"?.recipe":     {"a.recipe", "b.recipe"},
		"a[2].*":       {"a[2].recipe"},
		"*[*":          {"a[2].recipe"},
		"[ab].recipe*": nil,
		"*.jpg":        nil,
	} {
		var got []string
		for _, f := range fitting(filepath.Join(dir, pattern)) {
			got = append(got, filepath.Base(f))
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, expected %v", pattern, got, want)
		}
	}
	t.Chdir(dir)
	if got := fitting("b*"); !slices.Equal(got, []string{"b.recipe"}) {
		t.Errorf("in the folder itself: %v", got)
	}
}

// A name that isn't UTF-8 is told as such, not looked for under another.
func TestArgumentNotUTF8(t *testing.T) {
	var said strings.Builder
	if code := run([]string{"check", "n\xe9.recipe"}, io.Discard, &said); code != exitUsage || !strings.Contains(said.String(), `"n\xe9.recipe" isn't UTF-8`) {
		t.Errorf("%d, %s", code, said.String())
	}
}
