package wedge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"platemark/ops"
	"platemark/ops/colour"
)

// Row is one patch of both lists.
type Row struct {
	Name     string     `json:"patch"`
	Expected colour.Lab `json:"expected"`
	Measured colour.Lab `json:"measured"`
	Delta    float64    `json:"difference"` // CIEDE2000
}

// Result is how two lists of a wedge agree.
type Result struct {
	Rows  []Row   `json:"patches"`
	Mean  float64 `json:"mean"`
	P95   float64 `json:"p95"` // 95 % are at most this
	Worst Row     `json:"worst"`
	// OwnWhite and OwnWorst are the mean and the largest difference with each
	// side on its own paper's white, nil where one lacks it.
	OwnWhite *float64 `json:"mean-on-own-white,omitempty"`
	OwnWorst *float64 `json:"worst-on-own-white,omitempty"`
	White    *Row     `json:"paper-white,omitempty"`
	Dark     *Row     `json:"dark-end,omitempty"`
	Grey     *Grey    `json:"grey,omitempty"`
	// Missing are patches that weren't measured: of two tables, not in both. Extra
	// were measured, and nothing is expected of them.
	Missing []string  `json:"missing,omitempty"`
	Extra   []string  `json:"extra,omitempty"`
	Verdict []Verdict `json:"verdict"`
	Notes   []string  `json:"notes,omitempty"`
}

// Sorted are the patches, the worst first.
func (r *Result) Sorted() []Row {
	rows := slices.Clone(r.Rows)
	slices.SortStableFunc(rows, func(x, y Row) int { return cmp.Compare(y.Delta, x.Delta) })
	return rows
}

// Neutrals are the patches of equal red, green and blue, from black to white.
func (r *Result) Neutrals() []Row {
	rows := slices.DeleteFunc(slices.Clone(r.Rows), func(row Row) bool { _, ok := neutral(row.Name); return !ok })
	slices.SortFunc(rows, func(x, y Row) int {
		a, _ := neutral(x.Name)
		b, _ := neutral(y.Name)
		return cmp.Compare(a, b)
	})
	return rows
}

// neutral is how much of red, green and blue, in per cent, is in a patch that has
// as much of each.
func neutral(name string) (percent int, ok bool) {
	rgb, ok := ops.Patch(name)
	return rgb[0], ok && rgb[0] == rgb[1] && rgb[1] == rgb[2]
}

// Grey is how the greys' tint differs: the distance in a* and b* of patches
// between the paper's white and the dark end.
type Grey struct {
	Mean  float64 `json:"mean"`
	Worst float64 `json:"worst"`
	At    string  `json:"at"`
}

// Verdict is one thing that was judged, in words.
type Verdict struct {
	Text string `json:"text"`
	Good bool   `json:"good"`
	// Missing says that it is of patches that couldn't be judged.
	Missing bool `json:"missing,omitempty"`
}

// Word is the verdict in one word.
func (v Verdict) Word() string {
	switch {
	case v.Good:
		return "within"
	case v.Missing:
		return "missing"
	}
	return "beyond"
}

// Tolerances of a contract proof by ISO 12647-7:2016, as public summaries give
// them: two the worst patch's, one each the others. Those of greys are from
// memory. All in CIEDE2000, greys in the distance of a* and b*.
const (
	MeanAtMost      = 2.5
	WorstAtMost     = 5.0
	WhiteAtMost     = 3.0
	GreyMeanAtMost  = 2.0
	GreyWorstAtMost = 3.5
)

// Compare holds what was measured against what was expected, patch by patch by
// name. Two lists without a common patch are an error.
func Compare(expected, measured *Chart) (*Result, error) {
	want := map[string]colour.Lab{}
	for _, p := range expected.Patches {
		want[p.Name] = p.Lab
	}
	r := &Result{}
	for _, p := range measured.Patches {
		e, ok := want[p.Name]
		if !ok {
			r.Extra = append(r.Extra, p.Name)
			continue
		}
		delete(want, p.Name)
		r.Rows = append(r.Rows, Row{p.Name, e, p.Lab, colour.DeltaE2000(e, p.Lab)})
	}
	for _, p := range expected.Patches {
		if _, left := want[p.Name]; left {
			r.Missing = append(r.Missing, p.Name)
		}
	}
	if len(r.Rows) == 0 {
		return nil, fmt.Errorf("no patch stands in both: %s here, %s there", few(measured.Names()), few(expected.Names()))
	}
	r.figures()
	return r, nil
}

func few(names []string) string {
	if len(names) > 3 {
		names = append(slices.Clone(names[:3]), "…")
	}
	return strings.Join(names, ", ")
}

func (r *Result) figures() {
	var all, tint []float64
	for i := range r.Rows {
		row := &r.Rows[i]
		all = append(all, row.Delta)
		if row.Delta > r.Worst.Delta || i == 0 {
			r.Worst = *row
		}
		switch percent, ok := neutral(row.Name); {
		case !ok:
		case percent == 0:
			r.Dark = row
		case percent == 100:
			r.White = row
		default:
			t := tintOf(*row)
			if r.Grey == nil {
				r.Grey = &Grey{}
			}
			if tint = append(tint, t); t >= r.Grey.Worst {
				r.Grey.Worst, r.Grey.At = t, row.Name
			}
		}
	}
	if r.Grey != nil {
		r.Grey.Mean = mean(tint)
	}
	r.Mean = mean(all)
	slices.Sort(all)
	r.P95 = all[(95*len(all)+99)/100-1]
	if r.White != nil {
		var own []float64
		for _, row := range r.Rows {
			own = append(own, colour.DeltaE2000(onWhite(row.Expected, r.White.Expected), onWhite(row.Measured, r.White.Measured)))
		}
		m, w := mean(own), slices.Max(own)
		r.OwnWhite, r.OwnWorst = &m, &w
	}
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

func tintOf(r Row) float64 { return math.Hypot(r.Measured.A-r.Expected.A, r.Measured.B-r.Expected.B) }

// onWhite is a colour as it looks to an eye used to the white (ICC.1, 6.3.2.2:
// X, Y and Z each in the ratio of D50's to the white's).
func onWhite(c, white colour.Lab) colour.Lab {
	v, w := c.XYZ(), white.XYZ()
	for i := range v {
		v[i] *= colour.PCSWhite[i] / w[i]
	}
	return colour.LabFromXYZ(v)
}

// Judge says whether a proof matches what its profile promises.
func (r *Result) Judge() {
	all := r.whole("weren't measured")
	r.say(r.Mean <= MeanAtMost, "%s: on average %.1f (at most %.1f).", all, r.Mean, MeanAtMost)
	r.say(r.Worst.Delta <= WorstAtMost, "The worst, %s: %.1f (at most %.1f); %s.", r.Worst.Name, r.Worst.Delta, WorstAtMost, away(r.Worst, "expected"))
	if r.White != nil {
		r.say(r.White.Delta <= WhiteAtMost, "Paper white: %.1f (at most %.1f); %s.", r.White.Delta, WhiteAtMost, away(*r.White, "expected"))
	}
	if r.Grey != nil {
		r.say(r.Grey.Mean <= GreyMeanAtMost && r.Grey.Worst <= GreyWorstAtMost, "Greys are tinted by %.1f on average (at most %.1f), %s by %.1f (at most %.1f).", r.Grey.Mean, GreyMeanAtMost, r.Grey.At, r.Grey.Worst, GreyWorstAtMost)
	}
	if d := r.Dark; d != nil {
		r.say(math.Abs(d.Measured.L-d.Expected.L) <= 3, "The dark end has L* %.1f; the profile promises %.1f.", d.Measured.L, d.Expected.L)
	}
}

// Agree says how another printer's wedge differs from mine.
func (r *Result) Agree() {
	names := append(r.Missing, r.Extra...)
	for _, row := range r.Rows {
		names = append(names, row.Name)
	}
	both := func(n string) bool { return slices.ContainsFunc(r.Rows, func(row Row) bool { return row.Name == n }) }
	r.Missing, r.Extra = slices.DeleteFunc(Whole(names), both), nil
	all := r.whole("weren't measured in both")
	if w := r.White; w != nil {
		r.say(w.Delta <= 1, "Their paper, beside mine: %s.", away(*w, "mine"))
	}
	if g := r.Grey; g != nil {
		if good := g.Worst <= GreyMeanAtMost; good {
			r.say(good, "Greys agree (%.1f apart at most).", g.Worst)
		} else {
			r.say(good, "Greys don't agree: %s differs by %.1f in a* and b*, on average %.1f.", g.At, g.Worst, g.Mean)
		}
	}
	if d := r.Dark; d != nil {
		r.say(math.Abs(d.Measured.L-d.Expected.L) <= 2, "Their darkest has L* %.1f, mine %.1f.", d.Measured.L, d.Expected.L)
	}
	r.say(r.Mean <= MeanAtMost && r.Worst.Delta <= WorstAtMost, "%s: on average %.1f apart, %s by %.1f.", all, r.Mean, r.Worst.Name, r.Worst.Delta)
	if r.OwnWhite != nil {
		r.say(*r.OwnWhite <= MeanAtMost && *r.OwnWorst <= WorstAtMost, "To an eye used to each paper's white: on average %.1f apart, %.1f at most.", *r.OwnWhite, *r.OwnWorst)
	}
}

// whole says first which patches are missing, and returns what the others are
// called.
func (r *Result) whole(what string) (all string) {
	n, m := len(r.Rows), len(r.Missing)
	if m == 0 {
		return "All patches"
	}
	names := strings.Join(r.Missing[:min(m, 4)], ", ")
	if m > 4 {
		names += fmt.Sprintf(" and %d more", m-4)
	}
	r.Verdict = append(r.Verdict, Verdict{fmt.Sprintf("%d of %d patches %s: %s. Only the others are judged.", m, n+m, what, names), false, true})
	return fmt.Sprintf("The %d that were", n)
}

func (r *Result) say(good bool, format string, v ...any) {
	r.Verdict = append(r.Verdict, Verdict{fmt.Sprintf(format, v...), good, false})
}

// Good says that every patch was judged, and all that was is within its bounds.
func (r *Result) Good() bool {
	return !slices.ContainsFunc(r.Verdict, func(v Verdict) bool { return !v.Good })
}

// Sum is all verdicts in a line.
func (r *Result) Sum() string {
	switch beyond := slices.ContainsFunc(r.Verdict, func(v Verdict) bool { return !v.Good && !v.Missing }); {
	case beyond:
		return "Not all is within tolerance"
	case len(r.Missing) > 0:
		return "Not all was measured; what was is within tolerance"
	}
	return "All is within tolerance"
}

// away says where a colour lies beside what it is held against: the parts of a
// half and more, the largest first.
func away(r Row, other string) string {
	type part struct {
		by         float64
		unit       string
		less, more string
	}
	parts := []part{
		{r.Measured.L - r.Expected.L, "L*", "darker", "lighter"},
		{r.Measured.A - r.Expected.A, "a*", "greener", "redder"},
		{r.Measured.B - r.Expected.B, "b*", "colder", "warmer"},
	}
	slices.SortStableFunc(parts, func(x, y part) int { return cmp.Compare(math.Abs(y.by), math.Abs(x.by)) })
	var out []string
	for _, p := range parts {
		if math.Abs(p.by) >= 0.5 {
			word := p.more
			if p.by < 0 {
				word = p.less
			}
			out = append(out, fmt.Sprintf("%.1f %s %s", math.Abs(p.by), p.unit, word))
		}
	}
	if len(out) == 0 {
		return "as " + other
	}
	return strings.Join(out, ", ") + " than " + other
}
