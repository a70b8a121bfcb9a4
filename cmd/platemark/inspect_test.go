package main

import (
	"fmt"
	"math"
	"math/big"
	"os"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"

	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

// specksCmd writes an invented sky of w x h px in opRGB, 16 bits, with grain and
// with specks: soft blots of a radius in px that are so many per cent darker or
// lighter in the middle, single pixels where the radius is 0.
func specksCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 3 {
		ts.Fatalf("usage: specks FILE W H X,Y,RADIUS,PERCENT ...")
	}
	w, err := strconv.Atoi(args[1])
	ts.Check(err)
	h, err := strconv.Atoi(args[2])
	ts.Check(err)
	var specks [][4]float64
	for _, s := range args[3:] {
		var v [4]float64
		_, err := fmt.Sscanf(s, "%f,%f,%f,%f", &v[0], &v[1], &v[2], &v[3])
		ts.Check(err)
		specks = append(specks, v)
	}
	space, _ := colour.Space("opRGB")
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: 3, Bits: 16, PPI: big.NewRat(300, 1), ICC: space.Bytes()})
	ts.Check(err)
	b := l.Header()
	row := make([]uint16, 3*w)
	for y := range h {
		for i := range row {
			x := i / 3
			v := []float64{17000, 22000, 30000}[i%3] + 9000*float64(y)/float64(h)
			for _, s := range specks {
				d := math.Hypot(float64(x)-s[0], float64(y)-s[1])
				if t := 1 - d/max(s[2], 0.5); t > 0 {
					v *= 1 + s[3]/100*min(1, 2*t)
				}
			}
			n := uint32(x*374761393+y*668265263+(i%3)*2147483647) * 2246822519
			n = (n ^ n>>13) * 1274126177
			row[i] = uint16(min(v+float64(n>>24)+float64(n>>16&255)-255, 65535))
		}
		b = l.AppendRow(b, row, y)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), append(b, l.Trailer()...), 0o666))
}
