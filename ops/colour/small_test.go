package colour

import (
	"bytes"
	"testing"
)

// smallProfiles are invented profiles of every kind of table, small enough to stand
// among the frozen vectors: papers whose black is L* 6, by version; one of 8 bits,
// whose only way back compresses greys; tables from and to XYZ, by version; a
// scanner.
func smallProfiles() map[string][]byte {
	const black = 6.0
	paper := func(x []float64) Lab {
		c := easyLab(x)
		return Lab{black + (100-black)*c.L/100, c.A * 0.8, c.B * 0.8}
	}
	// Perceptual keeps the distances of greys, with a toe, relative their lightness.
	soft := func(c Lab) []float64 { return easyDevice(Lab{(c.L - 12) * 100 / 88, c.A, c.B}, 3) }
	hard := func(c Lab) []float64 {
		return easyDevice(Lab{(c.L - black) * 100 / (100 - black), c.A / 0.8, c.B / 0.8}, 3)
	}
	out := map[string][]byte{}
	there := func(width int, code func(Lab) []float64) madeTag {
		return madeTag{"A2B0", tableTagData(width, 3, 3, 5, 5, 1, nil, func(x []float64) []float64 { return code(paper(x)) })}
	}
	back := func(sig string, width int, decode func([]float64) Lab, way func(Lab) []float64) madeTag {
		return madeTag{sig, tableTagData(width, 3, 3, 7, 5, 1, nil, func(x []float64) []float64 { return way(decode(x)) })}
	}
	out["paper-2"] = makeProfile(2, "prtr", "RGB ", "Lab ", white, there(2, code16), back("B2A0", 2, lab16, soft), back("B2A1", 2, lab16, hard))
	out["eight-2"] = makeProfile(2, "prtr", "RGB ", "Lab ", white, there(1, code8), back("B2A0", 1, lab8, soft))

	put := func(values []uint16, v []float64) []uint16 {
		for _, x := range v {
			values = append(values, uint16(min(max(x, 0), 1)*65535))
		}
		return values
	}
	var a2b, b2a0, b2a1 []uint16
	for i := range 3 * 4 * 5 {
		a2b = put(a2b, code8(paper([]float64{float64(i/20) / 2, float64(i/5%4) / 3, float64(i%5) / 4})))
	}
	for i := range 5 * 7 * 7 {
		c := lab8([]float64{float64(i/49) / 4, float64(i/7%7) / 6, float64(i%7) / 6})
		b2a0, b2a1 = put(b2a0, soft(c)), put(b2a1, hard(c))
	}
	plain, unbent := repeat(3, curvTag()), repeat(3, paraTag(4, []string{"5/6", "1", "0", "2", "1/64", "0", "0"}))
	thirds := repeat(3, curvTag(0, 21845, 43690, 65535))
	out["paper-4"] = makeProfile(4, "prtr", "RGB ", "Lab ", white,
		madeTag{"A2B0", partsTag("mAB ", 3, 3, thirds, []float64{0.999, 0.0005, 0.0005, 0, 0.998, 0.001, 0.001, 0, 0.998, 0, 0.0005, 0}, repeat(3, paraTag(0, []string{"1001/1000"})), gridPart([]int{3, 4, 5}, a2b), repeat(3, curvTag(0x0133)))},
		madeTag{"B2A0", partsTag("mBA ", 3, 3, thirds, nil, nil, gridPart([]int{5, 7, 7}, b2a0), unbent)},
		madeTag{"B2A1", partsTag("mBA ", 3, 3, plain, nil, nil, gridPart([]int{5, 7, 7}, b2a1), unbent)})

	made := madeProfiles()
	out["xyz-2"], out["xyz-4"] = made["lut16 XYZ"], made["mAB matrix"]
	out["scan-2"] = makeProfile(2, "scnr", "RGB ", "Lab ", white,
		madeTag{"A2B0", tableTagData(2, 3, 3, 4, 9, 1, nil, func(x []float64) []float64 { return code16(easyLab(x)) })})
	return out
}

// The small profiles of the vectors are what this makes.
func TestSmallProfilesAreMade(t *testing.T) {
	for name, made := range smallProfiles() {
		path := profileDir + name + ".icc"
		if got := load(t, path).Bytes(); !bytes.Equal(got, made) {
			t.Errorf("%s has other bytes", path)
		}
	}
}
