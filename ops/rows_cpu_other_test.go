//go:build !unix

package ops

func cpuSeconds() float64 { return 0 }
