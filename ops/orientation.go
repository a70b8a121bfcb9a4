package ops

// axes says where the stored picture's columns and rows run to once it stands
// upright, by orientation (TIFF 6.0, tag 274): column direction x, y, then row
// direction x, y; x to the right, y down.
var axes = [9][4]int{
	1: {1, 0, 0, 1},
	2: {-1, 0, 0, 1},
	3: {-1, 0, 0, -1},
	4: {1, 0, 0, -1},
	5: {0, 1, 1, 0},
	6: {0, 1, -1, 0},
	7: {0, -1, -1, 0},
	8: {0, -1, 1, 0},
}

// ComposeOrientation is the orientation that does first, then second: both 1
// to 8 with the meaning of TIFF tag 274. Anything else counts as 1.
func ComposeOrientation(first, second int) int {
	if first < 1 || first > 8 {
		first = 1
	}
	if second < 1 || second > 8 {
		second = 1
	}
	a, b := axes[first], axes[second]
	var m [4]int
	for k := 0; k < 4; k += 2 {
		// A direction (x, y) of the first becomes x·columns + y·rows of the second.
		m[k] = a[k]*b[0] + a[k+1]*b[2]
		m[k+1] = a[k]*b[1] + a[k+1]*b[3]
	}
	for o := 1; o <= 8; o++ {
		if axes[o] == m {
			return o
		}
	}
	return 1
}
