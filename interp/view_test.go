package interp

import (
	"math"
	"testing"
)

func TestFigures(t *testing.T) {
	var d []float32
	for i := range 100 {
		d = append(d, float32(i)/10)
	}
	f := FiguresOf(d)
	if math.Abs(f.Mean-4.95) > 1e-6 || math.Abs(f.P95-9.4) > 1e-6 || math.Abs(f.Largest-9.9) > 1e-6 || f.Above1 != 0.89 || f.Above3 != 0.69 {
		t.Errorf("%+v", f)
	}
	if f := FiguresOf(nil); f != (Figures{}) {
		t.Errorf("%+v", f)
	}
}
