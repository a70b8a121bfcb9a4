package desk

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"strconv"

	"platemark/interp/plan"
	"platemark/lang"
)

// A section's width and height are written in the unit of the sheet, rounded down
// to so many decimals so that it stays inside the print.
var (
	perInch  = map[string]float64{"in": 1, "cm": 2.54, "mm": 25.4}
	decimals = map[string]int{"in": 2, "cm": 1, "mm": 0, "px": 0}
)

// section is the line of a sheet for a part of a print, and where it goes: into the
// last sheet above the ring's line, else the first, else a new one on the print's
// paper.
func (s *Server) section(rd *reading, p *plan.Print, q *drawing) (e lang.Edit, text string, err error) {
	pr := rd.rec.Print(p.Name)
	if p.Sheet {
		return e, "", errors.New("a section is cut out of a print, and this is a sheet: choose the print, then draw on it")
	}
	if len(q.Shape.Points) != 2 {
		return e, "", errAsked
	}
	var sheet *lang.Print
	for _, x := range rd.rec.Prints {
		if x.Sheet != nil && (sheet == nil || x.Line <= q.Line) {
			sheet = x
		}
	}
	size := pr.Size
	if sheet != nil {
		size = sheet.Size
	}
	unit := "in"
	for _, m := range []*lang.Measure{size.W, size.H} {
		if m != nil {
			unit = m.Unit
		}
	}
	f, ppi := frameOf(p), flt(p.Face.PPI)
	middle, sides := [2]float64{}, [2]string{}
	lo, hi := [2]float64{flt(p.Covers.X0), flt(p.Covers.Y0)}, [2]float64{flt(p.Covers.X1), flt(p.Covers.Y1)}
	for i, frame := range []float64{f.w, f.h} {
		a, b := q.Shape.Points[0][i]*frame, q.Shape.Points[1][i]*frame
		a, b = max(min(a, b), lo[i]), min(max(a, b), hi[i])
		v := (b - a) / (hi[i] - lo[i]) * float64([]int{p.Picture.W, p.Picture.H}[i])
		if unit != "px" {
			v *= perInch[unit] / ppi
		}
		tens := math.Pow10(decimals[unit])
		if v = math.Floor(v*tens) / tens; !(v > 0) {
			return e, "", errors.New("this section holds nothing of the print: draw it on the picture, and larger")
		}
		middle[i], sides[i] = (a+b)/2/frame, strconv.FormatFloat(v, 'f', -1, 64)+" "+unit
	}
	text = fmt.Sprintf("section of %s at %s size %s x %s", p.Name, f.point(middle), sides[0], sides[1])
	if sheet != nil {
		after := sheet.Size.EndLine
		for _, x := range sheet.Sheet.Pieces {
			after = max(after, x.EndLine)
		}
		return lang.Put(rd.source, lang.BlockName{Kind: "sheet", Name: sheet.Name.Value}, after, text), text, nil
	}
	if len(rd.rec.Papers) == 0 {
		return e, "", errors.New("a section lies on a sheet, which is printed on a paper, and the recipe has none: write a paper block first")
	}
	paper := rd.rec.Papers[len(rd.rec.Papers)-1].Name.Value
	if pr.On != nil {
		paper = pr.On.Value
	}
	name := unused(rd.source, "proofs")
	large := map[bool]string{true: "19 in x 13 in", false: "48 cm x 33 cm"}[unit == "in" || unit == "px"]
	e = lang.Put(rd.source, lang.BlockName{Kind: "sheet", Name: name + " on " + paper}, 0,
		fmt.Sprintf("size %s at %s ppi", large, strconv.FormatFloat(ppi, 'f', -1, 64)), text, fmt.Sprintf("save tiff %q", name+".tif"))
	return e, text, nil
}

func flt(v *big.Rat) float64 { f, _ := v.Float64(); return f }

// unused is a name that the recipe doesn't have: base with a number.
func unused(source []byte, base string) string {
	taken := map[string]bool{}
	for _, n := range lang.ReadOutline(source).Names {
		taken[n.Value] = true
	}
	for i := 1; ; i++ {
		if name := fmt.Sprintf("%s-%d", base, i); !taken[name] {
			return name
		}
	}
}
