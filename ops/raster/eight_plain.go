//go:build !amd64 || plain

package raster

// Without assembly nothing of a row is done fast.
func fastEight(dst []byte, row []uint16, channels int, four uint64) int { return 0 }
