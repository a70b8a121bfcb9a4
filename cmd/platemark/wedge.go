package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"platemark/cmd/platemark/view"
	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/interp/wedge"
	"platemark/lang"
	"platemark/ops"
)

type wedgeCmd struct {
	Read   string `arg:"" help:"What was measured of the wedge: a table (CSV) or the text form of ISO 28178 (CGATS)." type:"readablefile"`
	Beside string `arg:"" help:"What to hold it against: the sheet that was printed, its paper's profile, or what was measured of another print of it." type:"readablefile"`
	JSON   bool   `help:"Say it as JSON."`
	All    bool   `help:"List every patch, the worst first (default: the five worst)."`
	Page   string `help:"Write a page with swatches and drawings." placeholder:"FILE.html"`
	Force  bool   `help:"Replace the page if it exists."`
}

func (wedgeCmd) Help() string {
	return `Says whether a proof is what its paper's profile promises: the colour difference CIEDE2000 of each patch, the paper's white, the greys' tint, the dark end. With two measured files it says how the second printer's wedge differs from the first's.

Patches are matched by name. Those of our wedges bear in their names what they are printed with, in per cent: grey-50, rgb-100-50-0. Measure under D50 (condition M1, or M2 where the paper has no brighteners), 2 degrees, on white backing, a day after printing.

Patches that weren't measured are named, and the others judged. Which there are says the log beside the sheet; without it, the names of those that were.

Exit codes: 0 all was measured and is within tolerance, 1 something wasn't or isn't, 2 wrong use.

Examples:
  platemark wedge measured.csv salt-road-trial.tif
  platemark wedge measured.txt papers/baryta.icc --page measured.html
  platemark wedge mine.csv theirs.csv`
}

func (c *wedgeCmd) Run(a *app) error {
	if err := ending("--page", c.Page, ".html"); err != nil {
		return err
	}
	first, err := readWedge(c.Read)
	if err != nil {
		return usageError{err.Error()}
	}
	var r *wedge.Result
	profile, err := master.ProfileOf(c.Beside)
	switch {
	case err != nil:
		return usageError{err.Error()}
	case profile != nil:
		var expected *wedge.Chart
		var names []string
		if names, err = c.printed(a, first); err == nil {
			if expected, err = wedge.Expect(profile, names); err == nil {
				r, err = wedge.Compare(expected, first)
			}
		}
		if err != nil {
			return usageError{c.Read + " and " + c.Beside + ": " + err.Error()}
		}
		r.Judge()
	default:
		second, err := readWedge(c.Beside)
		if err != nil {
			return usageError{err.Error()}
		}
		if r, err = wedge.Compare(first, second); err != nil {
			return usageError{c.Read + " and " + c.Beside + ": " + err.Error()}
		}
		first.Notes = append(first.Notes, second.Notes...)
		r.Agree()
	}
	r.Notes = first.Notes
	if c.Page != "" {
		names := [2]string{"expected", "measured"}
		if profile == nil {
			names = [2]string{"mine", "theirs"}
		}
		if err := disk.Make(c.Page, c.Force, func(w *os.File) error {
			return view.WriteWedge(w, r, filepath.Base(c.Read), filepath.Base(c.Beside), names)
		}); err != nil {
			return err
		}
	}
	if !c.JSON {
		a.tellWedge(r, c.All)
		if c.Page != "" {
			fmt.Fprintf(a.out, "\nthe page: %s\n", c.Page)
		}
	}
	return a.end(c.JSON, r, !r.Good())
}

// printed are the patches that were printed: those of the sheet, where a log
// beside it says what it is, else what the measured ones belong to.
func (c *wedgeCmd) printed(a *app, measured *wedge.Chart) ([]string, error) {
	sum, _, err := master.HashPath(a.ctx, c.Beside)
	if err != nil {
		return nil, err
	}
	for _, l := range audit.Beside(c.Beside, "") {
		if l.File.SHA256 != sum.String() {
			continue // of another build
		}
		var names []string
		for _, r := range l.Recipes() {
			rec, ds := lang.Parse("", []byte(r.Text))
			if slices.ContainsFunc(ds, func(d lang.Diagnostic) bool { return d.Severity == lang.Error }) {
				return wedge.Whole(measured.Names()), nil // written in an earlier draft
			}
			names = append(names, plan.Patches(rec, l.Recipe.Print)...)
		}
		if names == nil {
			return nil, fmt.Errorf("no wedge is on %s: by its log it is %s of %s; give the sheet that was printed, or its paper's profile", filepath.Base(c.Beside), l.Recipe.Print, l.Run.Recipe)
		}
		return names, nil
	}
	return wedge.Whole(measured.Names()), c.patched(a, measured)
}

// patched refuses a picture in which most of the measured patches don't lie; white
// and black lie in many.
func (c *wedgeCmd) patched(a *app, measured *wedge.Chart) error {
	var colours [][3]uint16
	for _, n := range measured.Names() {
		if rgb, ok := ops.Patch(n); ok && rgb != [3]int{} && rgb != [3]int{100, 100, 100} {
			colours = append(colours, [3]uint16{ops.PatchCode(rgb[0]), ops.PatchCode(rgb[1]), ops.PatchCode(rgb[2])})
		}
	}
	found, err := master.Flats(a.ctx, c.Beside, flatRun, colours)
	n := 0
	for _, there := range found {
		if there {
			n++
		}
	}
	if err == nil && 2*n < len(found) {
		err = fmt.Errorf("no wedge of these patches is on %s: %d of the %d that were looked for lie in it; give the sheet that was printed, or its paper's profile", filepath.Base(c.Beside), n, len(found))
	}
	return err
}

// flatRun is how many pixels a patch has across at least: 14 mm at 50 ppi are 27.
const flatRun = 24

func readWedge(path string) (*wedge.Chart, error) {
	if what := master.NotTable(path); what != "" {
		return nil, fmt.Errorf("%s: %s; name the table first, then the sheet, its paper's profile or another table", path, what)
	}
	b, err := disk.Read(path, wedge.MaxFile)
	if err != nil {
		return nil, fmt.Errorf("%s can't be read: %w", path, disk.PlainError(err))
	}
	c, err := wedge.Read(b)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return c, nil
}

func (a *app) tellWedge(r *wedge.Result, all bool) {
	painted := a.outColour()
	for _, v := range r.Verdict {
		word := fmt.Sprintf("%-7s", v.Word())
		if v.Good {
			word = paint(painted, green, word)
		} else {
			word = paint(painted, red, word)
		}
		fmt.Fprintf(a.out, "  %s  %s\n", word, v.Text)
	}
	rows := r.Sorted()
	if !all {
		rows = rows[:min(5, len(rows))]
	}
	fmt.Fprintf(a.out, "\n  %d patches, 95 %% within %.1f. The worst:\n", len(r.Rows), r.P95)
	for _, row := range rows {
		fmt.Fprintf(a.out, "  %-16s %5.1f   L* %5.1f a* %5.1f b* %5.1f  ->  %5.1f %5.1f %5.1f\n", row.Name, row.Delta,
			row.Expected.L, row.Expected.A, row.Expected.B, row.Measured.L, row.Measured.A, row.Measured.B)
	}
	if len(r.Extra) > 0 {
		fmt.Fprintf(a.out, "  measured, but not on the sheet: %s\n", strings.Join(r.Extra, ", "))
	}
	for _, n := range r.Notes {
		a.say(aNote, "%s", n)
	}
}
