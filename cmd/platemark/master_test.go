package main

import (
	"math/big"
	"os"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"

	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

// writeMaster writes an invented w x h picture of c channels.
func writeMaster(path string, w, h, c int, space string) error {
	o := tiff.Options{W: w, H: h, C: c, Bits: 16, PPI: big.NewRat(300, 1)}
	if p, ok := colour.Space(space); ok {
		o.ICC = p.Bytes()
	}
	l, err := tiff.NewLayout(o)
	if err != nil {
		return err
	}
	b := l.Header()
	row := make([]uint16, w*c)
	for y := range h {
		for i := range row {
			x := i / c
			n := uint32(x*374761393+y*668265263+(i%c)*2147483647) * 2246822519
			row[i] = uint16(300*x+200*y*(i%c+1)) + uint16(n>>21)
		}
		b = l.AppendRow(b, row, y)
	}
	return os.WriteFile(path, append(b, l.Trailer()...), 0o666)
}

func writeMasterCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 4 {
		ts.Fatalf("usage: master FILE W H CHANNELS [SPACE]")
	}
	var n [3]int
	for i, s := range args[1:4] {
		v, err := strconv.Atoi(s)
		ts.Check(err)
		n[i] = v
	}
	space := ""
	if len(args) > 4 {
		space = args[4]
	}
	ts.Check(writeMaster(ts.MkAbs(args[0]), n[0], n[1], n[2], space))
}
