package colour

import (
	"encoding/binary"
	"fmt"
)

// Intent is a rendering intent, numbered as in profile headers.
type Intent int

const (
	Perceptual Intent = iota
	Relative          // media-relative colorimetric: paper white is white
	Saturation
	Absolute // as Relative, with the papers' whites as they are
)

var intentNames = [...]string{"perceptual", "relative", "saturation", "absolute"}

func (i Intent) String() string {
	if i < 0 || int(i) >= len(intentNames) {
		return "unknown"
	}
	return intentNames[i]
}

// ParseIntent reads the words that recipes use: relative, perceptual,
// saturation, absolute.
func ParseIntent(word string) (Intent, bool) {
	for i, n := range intentNames {
		if n == word {
			return Intent(i), true
		}
	}
	return 0, false
}

// slot is the number in the table's tag: absolute uses the relative tables.
func (i Intent) slot() int {
	if i == Absolute {
		return int(Relative)
	}
	return int(i)
}

func tableTag(forward bool, slot int) string {
	if forward {
		return fmt.Sprintf("A2B%d", slot)
	}
	return fmt.Sprintf("B2A%d", slot)
}

func hasTables(tags tagTable) bool {
	for k := range 3 {
		for _, f := range [2]bool{true, false} {
			if _, ok := tags[tableTag(f, k)]; ok {
				return true
			}
		}
	}
	return false
}

// readWhite reads the media white. In a version 2 display profile it states
// the screen's own white, to which the eye is taken to be adapted, so it counts
// as D50; in version 4 it is adapted to D50 already (ICC.1:2010, 9.2.36).
func (p *Profile) readWhite(tags tagTable) {
	p.white = [3]float64{1, 1, 1}
	if p.class == "mntr" && p.version == 2 {
		return
	}
	d := tags["wtpt"]
	if len(d) < 20 || string(d[:4]) != "XYZ " {
		p.whiteErr = fmt.Errorf("it doesn't say what its white looks like (tag wtpt)")
		return
	}
	for i := range p.white {
		v := fixedAt(d[8:], i)
		if v < one/16 || v > 2*one {
			p.whiteErr = fmt.Errorf("its white (tag wtpt) can't be: %.4f of the light in %s", float64(v)/one, "XYZ"[i:i+1])
			return
		}
		p.white[i] = float64(v) / float64(D50[i])
	}
}

// readLUTs reads a profile's tables, and its colorants and curves where it has
// them besides.
func (p *Profile) readLUTs(tags tagTable, pcs string) error {
	if pcs != "XYZ " && pcs != "Lab " {
		return fmt.Errorf("its connection space is %s; XYZ and Lab are read", show(pcs))
	}
	if p.whiteErr != nil {
		return p.whiteErr
	}
	var shapeErr error
	if pcs == "XYZ " && p.channels != 4 {
		shapeErr = p.readShape(tags)
	}
	tables := tableReader{} // tags may share data
	get := func(sig string, in, out int, forward bool) (*lut, error) {
		d, ok := tags[sig]
		if !ok {
			return nil, nil
		}
		l, err := tables.parse(d, in, out, forward, pcs)
		if err != nil {
			return nil, fmt.Errorf("its table %s can't be used: %w", sig, err)
		}
		return l, nil
	}
	var err error
	for k := range 3 {
		if p.toPCS[k], err = get(tableTag(true, k), p.channels, 3, true); err != nil {
			return err
		}
		if p.fromPCS[k], err = get(tableTag(false, k), 3, p.channels, false); err != nil {
			return err
		}
	}
	if _, err = get("gamt", 3, 1, false); err != nil { // not used, but must be whole
		return err
	}
	if p.toPCS == [3]*lut{} && !p.shaped {
		return fmt.Errorf("it has no table from its device to colours (tag A2B0)")
	}
	if p.fromPCS == [3]*lut{} && !p.shaped && p.class != "scnr" {
		if shapeErr != nil && tags["rXYZ"] != nil {
			return fmt.Errorf("it has no table from colours to its device (tag B2A0), and %w", shapeErr)
		}
		return fmt.Errorf("it has no table from colours to its device (tag B2A0)")
	}
	if err := p.checkTables(); err != nil {
		return err
	}
	if !p.shaped {
		return p.setGreyTone()
	}
	return nil
}

// table chooses the transform of one direction: the intent's own table, else
// A2B0 (B2A0), else colorants and curves (nil without an error). ICC.1:2010,
// 8.10.2.
func (p *Profile) table(forward bool, intent Intent) (*lut, error) {
	t := &p.toPCS
	if !forward {
		t = &p.fromPCS
	}
	switch k := intent.slot(); {
	case t[k] != nil:
		return t[k], nil
	case t[0] != nil:
		return t[0], nil
	case p.shaped:
		return nil, nil
	default:
		way := "from colours to its device"
		if forward {
			way = "from its device to colours"
		}
		return nil, fmt.Errorf("the profile %q has no table %s for the %s intent (tag %s or %s)", p.description, way, intent, tableTag(forward, k), tableTag(forward, 0))
	}
}

const (
	// whiteMiss is the largest difference (CIELAB) by which white may miss
	// white after going there and back.
	whiteMiss = 5
	// greyGap is the least difference in L* between white and mid grey, and
	// mid grey and black.
	greyGap = 2
)

// checkTables sends white, mid grey and black through each table, and there
// and back through each pair.
func (p *Profile) checkTables() error {
	seen := map[*lut]bool{}
	for k := range 3 {
		intent := Intent(k)
		if l := p.toPCS[k]; l != nil && !seen[l] {
			seen[l] = true
			white, mid, black := p.deviceGreys()
			f := &forward{lut: l}
			w, m, b := f.lab(white).L, f.lab(mid).L, f.lab(black).L
			if !(w-m >= greyGap && m-b >= greyGap) {
				return fmt.Errorf("its table %s doesn't keep black, mid grey and white apart (L* %.1f, %.1f, %.1f)", tableTag(true, k), b, m, w)
			}
		}
		l := p.fromPCS[k]
		if l == nil || seen[l] {
			continue
		}
		seen[l] = true
		back, err := p.table(true, Relative)
		if err != nil {
			if back, err = p.table(true, intent); err != nil {
				continue
			}
		}
		if back == nil {
			continue // colorants and curves have a check of their own
		}
		var got [3]Lab
		for i, v := range [3]float64{100, 50, 0} {
			got[i] = roundTrip(l, back, Lab{L: v})
		}
		if d := DeltaE76(got[0], Lab{L: 100}); !(d <= whiteMiss) {
			return fmt.Errorf("its table %s doesn't bring white back: it comes out as L* %.1f a* %.1f b* %.1f", tableTag(false, k), got[0].L, got[0].A, got[0].B)
		}
		if w, m, b := got[0].L, got[1].L, got[2].L; !(w-m >= greyGap && m-b >= greyGap) {
			return fmt.Errorf("its table %s doesn't keep black, mid grey and white apart (they come back as L* %.1f, %.1f, %.1f)", tableTag(false, k), b, m, w)
		}
	}
	return nil
}

// deviceGreys are the device's white, a middle grey and black, in codes.
func (p *Profile) deviceGreys() (white, mid, black [4]float64) {
	if p.channels == 4 {
		return white, [4]float64{0, 0, 0, 32768}, [4]float64{65535, 65535, 65535, 65535}
	}
	for i := range p.channels {
		white[i], mid[i] = 65535, 32768
	}
	return white, mid, black
}

// roundTrip sends a colour to the device by one table and back by another.
func roundTrip(to, back *lut, c Lab) Lab {
	v := [4]float64{c.L, c.A, c.B}
	if to.pcs == pcsXYZ {
		toLight(&v)
	}
	to.pcs.encode(&v)
	to.eval(&v)
	return (&forward{lut: back}).lab(v)
}

// greySteps is how many pieces the tone of a profile of tables has.
const greySteps = 1024

// setGreyTone derives Tone and Luma from the relative table.
func (p *Profile) setGreyTone() error {
	if p.channels == 4 {
		return nil
	}
	l, err := p.table(true, Relative)
	if err != nil {
		if l, err = p.table(true, Saturation); err != nil {
			return err
		}
	}
	f := &forward{lut: l}
	y := func(v [4]float64) float64 { return f.lab(v).light()[1] }
	table := make([]byte, 0, 2*(greySteps+1))
	top := uint16(0)
	for i := range greySteps + 1 {
		x := float64(float64(i) * (65535.0 / greySteps))
		v := y([4]float64{x, x, x})
		top = max(top, uint16(hold16(float64(v*65535)+0.5)))
		table = binary.BigEndian.AppendUint16(table, top)
	}
	c := curve{table: string(table)}
	if err := c.check(); err != nil {
		return fmt.Errorf("its greys of equal codes: %w", err)
	}
	t := newTone(c)
	for range p.channels {
		p.tones = append(p.tones, t)
	}
	if p.channels == 1 {
		p.setLuma()
		return nil
	}
	black, sum := y([4]float64{}), 0.0
	for i := range p.luma {
		var v [4]float64
		v[i] = 65535
		p.luma[i] = max(y(v)-black, 0)
		sum += p.luma[i]
	}
	if !(sum > 1.0/1024) {
		return fmt.Errorf("its full red, green and blue are as dark as its black")
	}
	for i := range p.luma {
		p.luma[i] /= sum
	}
	return nil
}
