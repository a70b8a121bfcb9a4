package main

import (
	"errors"
	"strings"
	"testing"
)

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left") }

// What couldn't be told wholly isn't done.
func TestUnwritableOutput(t *testing.T) {
	var said strings.Builder
	if code := run([]string{"explain", "spot"}, full{}, &said); code != exitDiffers || !strings.Contains(said.String(), "can't be written: no space left") {
		t.Errorf("%d, %q", code, said.String())
	}
}
