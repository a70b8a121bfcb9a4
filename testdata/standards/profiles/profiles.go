// Package profiles carries the test profiles that frozen vectors name, so that
// a program that computes them on another machine needs no file. README.md
// says where each comes from and under what terms.
package profiles

import _ "embed"

// An RGB printer with tables, once as version 2 writes them and once as
// version 4 does.
var (
	//go:embed rgbprint_v2.icc
	PrinterV2 []byte
	//go:embed rgbprint_v4.icc
	PrinterV4 []byte
)

// Profiles of curves whose black gives light.
var (
	//go:embed rgb_lifted.icc
	LiftedRGB []byte
	//go:embed grey_lifted.icc
	LiftedGrey []byte
)
