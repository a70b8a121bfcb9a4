package colour

import (
	"encoding/binary"
	"fmt"
)

const (
	// maxTable is the most numbers that one table may have: a grid of 33 in
	// four inks fits.
	maxTable = 4 << 20
	// maxEntries is the most entries of one curve of a table transform.
	maxEntries = 1 << 16
)

// tableReader reads the table transforms of one profile. Tables that share
// their data share the numbers read of it too.
type tableReader map[numbers][]uint16

// numbers says where numbers lie: n of width bytes from at.
type numbers struct {
	at       *byte
	n, width int
}

// parse reads a table transform of in inputs and out outputs whose
// connection-space end (its output if forward) is pcs, "XYZ " or "Lab ".
// Every count and offset is checked before memory is taken for it.
func (r tableReader) parse(d []byte, in, out int, forward bool, pcs string) (*lut, error) {
	if len(d) < 32 {
		return nil, fmt.Errorf("it has %d bytes, too few for a table transform", len(d))
	}
	if int(d[8]) != in || int(d[9]) != out {
		return nil, fmt.Errorf("it is for %d channels to %d where %d to %d are due", d[8], d[9], in, out)
	}
	l := &lut{in: in, out: out, forward: forward, pcs: pcsXYZ}
	l.linear = !forward && pcs == "Lab "
	if pcs == "Lab " {
		l.pcs = pcsLab
	}
	var err error
	switch kind := string(d[:4]); {
	case kind == "mft1" && pcs != "Lab ":
		err = fmt.Errorf("8-bit tables have no meaning for XYZ")
	case kind == "mft1":
		err = r.readTables(l, d, 1, pcs)
	case kind == "mft2":
		if pcs == "Lab " {
			l.pcs = pcsLab2
		}
		err = r.readTables(l, d, 2, pcs)
	case kind == "mAB " && forward, kind == "mBA " && !forward:
		err = r.readParts(l, d)
	default:
		err = fmt.Errorf("it is of the kind %s, which doesn't belong there", show(kind))
	}
	if err != nil {
		return nil, err
	}
	return l, nil
}

// readTables reads lut8 (width 1) and lut16 (width 2).
func (r tableReader) readTables(l *lut, d []byte, width int, pcs string) error {
	head, first, last := 48, 256, 256
	if width == 2 {
		head = 52
	}
	if len(d) < head {
		return fmt.Errorf("it is cut short at %d bytes", len(d))
	}
	if width == 2 {
		first, last = int(binary.BigEndian.Uint16(d[48:])), int(binary.BigEndian.Uint16(d[50:]))
	}
	if first < 2 || last < 2 || first > 4096 || last > 4096 {
		return fmt.Errorf("its curves have %d and %d entries; 2 to 4096 are allowed", first, last)
	}
	matrix := readMatrix(d[12:], 9)
	if !l.forward && pcs == "XYZ " {
		l.matrix = matrix
	} else if matrix != nil && l.in == 3 {
		return fmt.Errorf("its matrix isn't the identity, which it must be where the table doesn't begin at XYZ (ICC.1:2010, 10.8 and 10.9)")
	}
	for i := range l.in {
		l.grid[i] = int(d[10])
	}
	n, err := l.tableSize()
	if err != nil {
		return err
	}
	if want := head + width*(l.in*first+n+l.out*last); len(d) < want {
		return fmt.Errorf("it has %d bytes where its counts ask for %d", len(d), want)
	}
	at := head
	take := func(n int) []uint16 {
		v := r.words(d[at:], n, width)
		at += n * width
		return v
	}
	var from, to []lutCurve
	for range l.in {
		from = append(from, tableCurve(take(first)))
	}
	l.table = take(n)
	for range l.out {
		to = append(to, tableCurve(take(last)))
	}
	if l.forward {
		l.a, l.b = from, to
		return nil
	}
	l.m, l.a = from, to
	return nil
}

// words reads n numbers of width bytes, one at least, as 16-bit ones.
func (r tableReader) words(d []byte, n, width int) []uint16 {
	key := numbers{&d[0], n, width}
	if v := r[key]; v != nil {
		return v
	}
	v := make([]uint16, n)
	r[key] = v
	for i := range v {
		if width == 1 {
			v[i] = uint16(d[i]) * 257
		} else {
			v[i] = binary.BigEndian.Uint16(d[2*i:])
		}
	}
	return v
}

func tableCurve(v []uint16) lutCurve {
	if len(v) == 2 && v[0] == 0 && v[1] == 65535 {
		return lutCurve{}
	}
	return lutCurve{entries: v, step: float64(len(v)-1) / 65535}
}

// readMatrix reads 9 or 12 numbers of 65536ths; nil where it changes nothing.
func readMatrix(d []byte, n int) *[12]float64 {
	var m [12]float64
	for i := range n {
		m[i] = float64(fixedAt(d, i)) / 65536
		if i >= 9 {
			m[i] = float64(m[i] * 65535)
		}
	}
	if m == [12]float64{1, 0, 0, 0, 1, 0, 0, 0, 1} {
		return nil
	}
	return &m
}

// tableSize is the number of numbers in the grid. It readies the grid for
// lookup.
func (l *lut) tableSize() (int, error) {
	n := int64(l.out)
	for i, g := range l.grid[:l.in] {
		if g < 2 {
			return 0, fmt.Errorf("its grid has %d points a side; at least 2 are needed", g)
		}
		l.step[i] = float64(g-1) / 65535
		n *= int64(g) // 255^4 times 4 at most
	}
	if n > maxTable {
		return 0, fmt.Errorf("its table claims %d numbers, more than the %d allowed", n, maxTable)
	}
	return int(n), nil
}

// readParts reads lutAToB and lutBToA.
func (r tableReader) readParts(l *lut, d []byte) error {
	var off [5]uint64 // b, matrix, m, table, a
	for i := range off {
		off[i] = uint64(binary.BigEndian.Uint32(d[12+4*i:]))
		if off[i] != 0 && (off[i] < 32 || off[i] >= uint64(len(d))) {
			return fmt.Errorf("one of its parts is said to lie at byte %d of %d", off[i], len(d))
		}
	}
	device, pcs := l.in, l.out
	if !l.forward {
		device, pcs = pcs, device
	}
	switch {
	case off[0] == 0:
		return fmt.Errorf("it lacks the curves (B) next to the connection space")
	case (off[1] == 0) != (off[2] == 0):
		return fmt.Errorf("it has a matrix or its curves (M), but not both")
	case (off[3] == 0) != (off[4] == 0):
		return fmt.Errorf("it has a table or its curves (A), but not both")
	case off[3] == 0 && device != pcs:
		return fmt.Errorf("it has no table, which %d channels to %d need", l.in, l.out)
	case pcs != 3 && off[1] != 0:
		return fmt.Errorf("it has a matrix for %d channels", pcs)
	}
	var err error
	if l.b, err = r.readCurves(d, off[0], pcs); err != nil {
		return err
	}
	if off[1] != 0 {
		if len(d)-int(off[1]) < 48 {
			return fmt.Errorf("its matrix is cut short")
		}
		l.matrix = readMatrix(d[off[1]:], 12)
		if l.m, err = r.readCurves(d, off[2], 3); err != nil {
			return err
		}
	}
	if off[3] == 0 {
		return nil
	}
	if l.a, err = r.readCurves(d, off[4], device); err != nil {
		return err
	}
	t := d[off[3]:]
	if len(t) < 20 {
		return fmt.Errorf("its table is cut short")
	}
	for i := range l.in {
		l.grid[i] = int(t[i])
	}
	n, err := l.tableSize()
	if err != nil {
		return err
	}
	width := int(t[16])
	if width != 1 && width != 2 {
		return fmt.Errorf("its table's numbers have %d bytes; 1 and 2 exist", width)
	}
	if len(t)-20 < n*width {
		return fmt.Errorf("its table claims %d numbers but has room for %d", n, (len(t)-20)/width)
	}
	l.table = r.words(t[20:], n, width)
	return nil
}

// readCurves reads n curves, one after another, each padded to 4 bytes.
func (r tableReader) readCurves(d []byte, off uint64, n int) ([]lutCurve, error) {
	out := make([]lutCurve, 0, 4)
	d = d[off:]
	for range n {
		c, err := parseCurve(d)
		if err != nil {
			return nil, err
		}
		size := 0
		switch {
		case string(d[:4]) == "para":
			size = 12 + 4*paraCount[binary.BigEndian.Uint16(d[8:])]
		default:
			size = 12 + 2*int(binary.BigEndian.Uint32(d[8:]))
		}
		switch {
		case c.table == "" && c.plain():
			out = append(out, lutCurve{})
		case c.table == "":
			out = append(out, lutCurve{formula: &c})
		case len(c.table)/2 > maxEntries:
			return nil, fmt.Errorf("one of its curves has %d entries, more than the %d allowed", len(c.table)/2, maxEntries)
		default:
			out = append(out, tableCurve(r.words(d[12:], len(c.table)/2, 2)))
		}
		d = d[min((size+3)&^3, len(d)):]
	}
	return out, nil
}

// plain says that a formula leaves values as they are.
func (c *curve) plain() bool { return *c == gammaCurve(one) }
