package main

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"platemark/cmd/platemark/view"
	"platemark/interp"
	"platemark/interp/compare"
	"platemark/interp/disk"
	"platemark/lang"
)

type diffCmd struct {
	A     string `arg:"" help:"A recipe, an audit log (*.audit.jsonl) or a kept round (FILE@2)."`
	B     string `arg:"" help:"What to compare it with."`
	Print string `help:"Only the print of this name." placeholder:"NAME"`
	JSON  bool   `help:"Say the differences as JSON."`

	Picture bool   `help:"Write a page to look at: both pictures made small, a map of the colour differences, the most changed places at 100 %."`
	Out     string `help:"The page (default: A-B.html in this folder)." placeholder:"FILE.html"`
	Force   bool   `help:"Replace the page if it exists."`
	workersFlag
}

func (diffCmd) Help() string {
	return `Says what changed between two recipes in what they make: parameters with old, new and difference, steps added, removed and moved, masks shape by shape, inputs by digest. Comments, layout, names and units don't count: equal marks are no difference.

Exit codes: 0 no difference in the result, 1 a difference, 2 wrong use.

Examples:
  platemark diff salt-road.recipe@2 salt-road.recipe
  platemark diff salt-road-60x40.jpg.3f09c1d2ab77.audit.jsonl salt-road.recipe
  platemark diff --picture salt-road.recipe@2 salt-road.recipe --print large`
}

func (c *diffCmd) Run(a *app) error {
	if err := ending("--out", c.Out, ".html"); err != nil {
		return err
	}
	for _, side := range []*string{&c.A, &c.B} {
		if found := fitting(*side); len(found) == 1 && isPattern(*side) {
			*side = found[0]
		}
	}
	x, err := a.openSide(c.A)
	if err != nil {
		return err
	}
	defer x.Close()
	y, err := a.openSide(c.B)
	if err != nil {
		return err
	}
	defer y.Close()
	d, err := compare.Sides(x, y, c.Print)
	if err != nil {
		return usageError{err.Error()}
	}
	if !c.JSON {
		fmt.Fprintln(a.out, strings.Join(diffText(d, a.outColour()), "\n"))
	} else if err := a.json(d); err != nil {
		return err
	}
	if c.Picture {
		if err := c.page(a, x, y, d); err != nil {
			return err
		}
	} else if c.Out != "" {
		return usageError{"--out goes with --picture"}
	}
	return a.end(false, nil, !d.Same)
}

// page makes both pictures and writes the page.
func (c *diffCmd) page(a *app, x, y *compare.Side, d *compare.Diff) error {
	out := cmp.Or(c.Out, pageName(c.A)+"-"+pageName(c.B)+".html")
	if err := free(out, c.Force, "another"); err != nil {
		return err
	}
	v, err := compare.Pictures(a.ctx, x, y, d, compare.ViewOptions{Workers: c.n(), Progress: a.bar.tell})
	if err != nil {
		if a.ctx.Err() != nil {
			return err
		}
		return usageError{err.Error()}
	}
	if err := disk.Make(out, c.Force, func(w *os.File) error { return view.WriteDiff(w, d, v) }); err != nil {
		return err
	}
	if !c.JSON {
		fmt.Fprintf(a.out, "\nthe pictures: %s\n", out)
	}
	return nil
}

// pageName is a side's part of a page's name.
func pageName(arg string) string {
	s := filepath.Base(arg)
	for _, end := range []string{".audit.jsonl", ".recipe"} {
		s = strings.Replace(s, end, "", 1)
	}
	return strings.ReplaceAll(s, "@", "-round-")
}

// openSide opens one side; what can't be compared is wrong use, so that exit
// code 1 means a difference and nothing else.
func (a *app) openSide(arg string) (*compare.Side, error) {
	s, err := compare.Open(a.ctx, arg)
	var p *interp.Problems
	switch {
	case err == nil:
		return s, nil
	case errors.As(err, &p):
		a.problems(p.Source, p.Diags, lang.Error)
		return nil, usageError{arg + ": " + err.Error()}
	case a.ctx.Err() != nil:
		return nil, err
	}
	return nil, usageError{err.Error()}
}

// diffText is a comparison as lines of aligned text.
func diffText(d *compare.Diff, colour bool) []string {
	out := []string{fmt.Sprintf("%s  ->  %s", d.A, d.B)}
	if d.Same {
		out = append(out, paint(colour, green, "no difference in the result"))
	}
	width := 0
	for _, p := range d.Prints {
		width = max(width, utf8.RuneCountInString(pairName(p)))
	}
	for _, p := range d.Prints {
		line := fmt.Sprintf("  %s %s  ", p.Kind, pad(pairName(p), width))
		switch {
		case p.A == "":
			line += paint(colour, green, "added")
		case p.B == "":
			line += paint(colour, red, "removed")
		case p.Same && p.MarkA == "" || p.Same && p.MarkB == "":
			line += "says the same (its inputs aren't there to tell the mark)"
		case p.Same:
			line += "the same, mark " + p.MarkA[:12]
		case p.MarkA != "" && p.MarkB != "":
			line += fmt.Sprintf("mark %s  ->  %s", p.MarkA[:12], p.MarkB[:12])
		default:
			line += "differs"
		}
		out = append(out, line)
	}
	// Columns over all changes, so that the eye can run down them.
	var w [3]int
	for _, c := range d.Changes {
		if c.Param != "" {
			for i, s := range []string{c.Param, c.Old, c.New} {
				w[i] = min(max(w[i], utf8.RuneCountInString(s)), 40)
			}
		}
	}
	last := ""
	for _, c := range d.Changes {
		if head := changeHead(c, len(d.Prints)); head != last {
			out = append(out, "", head)
			last = head
		}
		switch {
		case c.Kind == "moved":
			out = append(out, "  "+paint(colour, cyan, "moved    ")+c.Text, "           was "+c.Old, "           is  "+c.New)
		case c.Param == "" && c.Kind == "added":
			out = append(out, "  "+paint(colour, green, "added    ")+c.Text)
		case c.Param == "" && c.Kind == "removed":
			out = append(out, "  "+paint(colour, red, "removed  ")+c.Text)
		default:
			l := fmt.Sprintf("  %s  %s  ->  %s", pad(c.Param, w[0]), pad(c.Old, w[1]), pad(c.New, w[2]))
			if c.Delta != "" {
				l += "  " + paint(colour, yellow, c.Delta)
			}
			out = append(out, strings.TrimRight(l, " "))
		}
	}
	if len(d.Notes) > 0 {
		out = append(out, "")
	}
	for _, n := range d.Notes {
		out = append(out, "note: "+n)
	}
	return out
}

func pairName(p compare.PrintPair) string {
	switch {
	case p.A == "":
		return p.B
	case p.B == "" || p.A == p.B:
		return p.A
	}
	return p.A + " -> " + p.B
}

// changeHead names the statement that changes, where it stands on each side,
// and the prints that it touches where the place doesn't say.
func changeHead(c compare.Change, prints int) string {
	h := c.Where
	switch c.Step {
	case "size", "save", "title", "rights", "master", "print", "mask", "recipe", "sheet":
	default:
		h += ": " + c.Step
	}
	switch {
	case c.LineA > 0 && c.LineB > 0 && c.LineA != c.LineB:
		h += fmt.Sprintf(", line %d -> %d", c.LineA, c.LineB)
	case c.LineB > 0:
		h += fmt.Sprintf(", line %d", c.LineB)
	case c.LineA > 0:
		h += fmt.Sprintf(", line %d before", c.LineA)
	}
	own := func(s string) bool { word, _, _ := strings.Cut(s, " "); return word == "print" || word == "sheet" }
	if prints > 1 && !own(c.Where) && !own(c.Step) {
		h += " (" + strings.Join(c.Prints, ", ") + ")"
	}
	return h
}
