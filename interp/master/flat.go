package master

import (
	"context"
	"errors"
)

// Flats says which colours, three 16-bit codes each, a TIFF or PNG file of red,
// green and blue holds somewhere in an area of that many pixels across and a third
// as many down; nil for files of other kinds.
func Flats(ctx context.Context, path string, run int, colours [][3]uint16) ([]bool, error) {
	switch kindOf(path) {
	case kindTIFF, kindPNG:
	default:
		return nil, nil
	}
	in, err := Glance(ctx, RoleMaster, path, path, true)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	info := in.Picture.Info()
	if info.Channels != 3 {
		return nil, nil
	}
	found, left := make([]bool, len(colours)), len(colours)
	all := errors.New("all were found")
	_, err = in.Picture.decode(ctx, 1, nil, func(y0 int, rows []uint16) error {
		for y := y0; len(rows) > 0; y++ {
			row := rows[:3*info.W]
			if rows = rows[3*info.W:]; y%max(run/3, 1) != 0 {
				continue
			}
			for i, c := range colours {
				if !found[i] && flat(row, c, run) {
					found[i] = true
					left--
				}
			}
		}
		if left == 0 {
			return all
		}
		return nil
	})
	if err != nil && !errors.Is(err, all) {
		return nil, err
	}
	return found, nil
}

// flat says whether a row holds a run of a colour, each sample to a step of 8 bits:
// codes between two such steps are dithered.
func flat(row []uint16, c [3]uint16, run int) bool {
	n := 0
	for ; len(row) > 0; row = row[3:] {
		if !near(row[0], c[0]) || !near(row[1], c[1]) || !near(row[2], c[2]) {
			n = 0
		} else if n++; n == run {
			return true
		}
	}
	return false
}

func near(a, b uint16) bool { return max(a, b)-min(a, b) <= 257 }
