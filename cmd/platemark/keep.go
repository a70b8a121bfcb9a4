package main

import (
	"fmt"
	"strconv"
	"strings"

	"platemark/interp"
)

// keepFlag is how much room kept steps may take.
type keepFlag struct {
	KeepSteps size `help:"Keep finished pictures of steps in your cache folder, in so much room at most, and go on from those that are there." placeholder:"SIZE"`
}

// size is a number of bytes, written as 500MB, 20GB or 1.5 TB (powers of ten).
type size int64

// UnmarshalText reads a size.
func (s *size) UnmarshalText(text []byte) error {
	for i, unit := range []string{"MB", "GB", "TB"} {
		number, ok := strings.CutSuffix(strings.ToUpper(string(text)), unit)
		if !ok {
			continue
		}
		if v, err := strconv.ParseFloat(strings.TrimSpace(number), 64); err == nil && v > 0 && v < 1e6 {
			*s = size(v * float64([]int64{1e6, 1e9, 1e12}[i]))
			return nil
		}
	}
	return fmt.Errorf("%q is no size such as 500MB, 20GB or 1.5TB", text)
}

// keeping is where steps are kept, nil without the flag.
func (f *keepFlag) keeping(a *app) (*interp.Keeping, error) {
	if f.KeepSteps == 0 {
		return nil, nil
	}
	folder, err := interp.KeepingFolder()
	if err != nil {
		return nil, err
	}
	return interp.NewKeeping(a.ctx, folder, int64(f.KeepSteps), func(what string) { a.say(aNote, "%s", what) })
}
