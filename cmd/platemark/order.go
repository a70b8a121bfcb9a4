package main

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/interp/plan"
	"platemark/interp/sign"
	"platemark/lang"
	"platemark/ops/exact"
)

// orderFile is the summary that an order leaves in its folder.
const orderFile = "order.csv"

// orderColumns are its first line.
const orderColumns = "recipe,print,file,picture,face,whole,ppi,bytes,mark,lab,warnings"

// order builds several recipes in one run.
func (c *buildCmd) order(a *app) error {
	began := time.Now()
	key, err := c.key(a)
	if err != nil {
		return err
	}
	o, err := interp.LoadOrder(a.ctx, c.Recipes, interp.LoadOptions{Prints: c.Print, Out: c.Out, Force: c.Force, Resume: !c.Force, Masks: true, NoSheets: true, LookIn: c.LookIn})
	if err != nil {
		return err
	}
	defer o.Close()
	for _, r := range o.Rows {
		r.Recipe = shortPath(r.Recipe)
	}
	for _, j := range o.Jobs {
		if j.Err != nil {
			a.say(anError, "%v", j.Err)
			continue
		}
		least := lang.Error
		if len(o.Jobs) == 1 {
			least = lang.Warning
		}
		a.tellElsewhere(j.Job.Elsewhere)
		a.problems(j.Job.Source, j.Job.Diags, least)
		a.staleOf(j.Job)
	}
	if len(o.Jobs) > 1 {
		a.tellKinds(o)
	}
	if c.Out != "" && !c.Force {
		for _, path := range c.foreign() {
			o.Problems = append(o.Problems, fmt.Sprintf("%s would be replaced by the order's own, and isn't one of an earlier order: move it, name another folder with --out, or use --force", path))
		}
	}
	if len(o.Problems) > 0 {
		for _, p := range o.Problems {
			a.say(anError, "%s", p)
		}
		a.say(aHint, "nothing was built")
		return errRefused
	}
	table := newOrderTable(o.Rows, a.outWidth())
	if !c.JSON {
		n, there := states(o), ""
		if k := n[interp.OrderThere]; k > 0 {
			there = fmt.Sprintf("; %d already there", k)
		}
		if n[interp.OrderPlanned] > 0 {
			there = ", about " + plan.SizeText(o.Bytes) + there
		}
		fmt.Fprintf(a.out, "%s, %s to build%s\n", lang.Count(len(o.Jobs), "recipe"), lang.Count(n[interp.OrderPlanned], "print"), there)
	}
	bo, err := c.options(a, key)
	if err != nil {
		return err
	}
	err = o.Build(a.ctx, bo, func(r *interp.OrderRow) {
		if !c.JSON {
			fmt.Fprintln(a.out, table.line(r))
			if r.Built != nil {
				a.tellWarnings(*r.Built)
			}
		}
		var said *interp.Problems // when it was planned
		if r.Err != nil && r.Print != "" && !errors.As(r.Err, &said) {
			a.say(anError, "%s, print %s: %v", r.Recipe, r.Print, r.Err)
		}
	})
	if c.Out != "" {
		err = cmp.Or(err, writeOrder(filepath.Join(c.Out, orderFile), o))
		if err == nil {
			err = c.papers(a, o)
		}
	}
	if err != nil {
		return err
	}
	if !c.JSON {
		n := states(o)
		fmt.Fprintf(a.out, "%d built, %d already there, %d failed, in %s\n", n[interp.OrderBuilt], n[interp.OrderThere], n[interp.OrderFailed], time.Since(began).Round(10*time.Millisecond))
	}
	if key != nil {
		a.tellUnsigned(c.Sign, o)
	}
	return a.end(c.JSON, orderJSON(o), o.Failed())
}

// tellUnsigned says which logs were there already without a signature: a build
// signs what it writes alone.
func (a *app) tellUnsigned(key string, o *interp.Order) {
	var logs []string
	for _, r := range o.Rows {
		if r.State == interp.OrderThere && disk.Absent(r.Log+sign.Suffix) == nil {
			logs = append(logs, disk.Typed(r.Log))
		}
	}
	if len(logs) > 0 {
		a.say(aWarning, "not signed, since already there: %s; to sign: ssh-keygen -Y sign -n %s -f %s %s",
			lang.Count(len(logs), "log"), sign.Log, disk.Typed(key), strings.Join(logs, " "))
	}
}

// states counts the prints of an order by what became of them.
func states(o *interp.Order) map[interp.OrderState]int {
	n := map[interp.OrderState]int{}
	for _, r := range o.Rows {
		n[r.State]++
	}
	return n
}

// tellKinds says what the recipes of an order warn of: a line for each kind,
// with its first place and how many more there are.
func (a *app) tellKinds(o *interp.Order) {
	var codes, firsts []string
	n := map[string]int{}
	for _, j := range o.Jobs {
		if j.Err != nil {
			continue
		}
		for _, d := range j.Job.Diags {
			if d.Severity != lang.Warning {
				continue
			}
			if n[d.Code]++; n[d.Code] == 1 {
				codes = append(codes, d.Code)
				firsts = append(firsts, fmt.Sprintf("%s:%d: %s", shortPath(j.File), d.Span.Line, d.Summary))
			}
		}
	}
	for i, code := range codes {
		more := ""
		if n[code] > 1 {
			more = fmt.Sprintf("; and %d more of this kind, for each of which `platemark plan RECIPE` says more", n[code]-1)
		}
		a.say(aWarning, "%s [%s]%s", firsts[i], code, more)
	}
}

// An orderTable is what an order says of its prints, a line each: recipe, print,
// face in inches and in pixels, resolution and mark, in columns whose widths are
// known from the plan (0: left out), then the file's size and what became of it.
type orderTable [6]int

func orderCells(r *interp.OrderRow) [6]string {
	if r.Plan == nil {
		return [6]string{r.Recipe, "-", "-", "-", "-", "-"}
	}
	inches, pixels, _ := strings.Cut(r.Plan.Sizes().Face.String(), ", ")
	return [6]string{r.Recipe, r.Print, inches, pixels, exact.Decimals(r.Plan.Face.PPI, 2) + " ppi", r.Plan.MarkShort()}
}

// newOrderTable fits the columns into a terminal's width, 0 where there is none:
// marks go first, then resolutions, then pixels, then names are shortened.
func newOrderTable(rows []*interp.OrderRow, width int) (t orderTable) {
	state := len(interp.OrderFailed)
	for _, r := range rows {
		for i, s := range orderCells(r) {
			t[i] = max(t[i], utf8.RuneCountInString(s))
		}
		if r.State == interp.OrderThere {
			state = len(r.State)
		}
	}
	over := func() int {
		n := len("999.9 KB  ") + state - width
		for _, k := range t {
			if k > 0 {
				n += k + 2
			}
		}
		return n
	}
	if width == 0 {
		return t
	}
	for _, i := range []int{5, 4, 3} {
		if over() > 0 {
			t[i] = 0
		}
	}
	if n := over(); n > 0 {
		t[0] = max(t[0]-n, 8)
	}
	return t
}

func (t orderTable) line(r *interp.OrderRow) string {
	line := ""
	for i, s := range orderCells(r) {
		if t[i] > 0 {
			line += pad(cutText(s, t[i]), t[i]) + "  "
		}
	}
	size := "-"
	if r.State == interp.OrderBuilt || r.State == interp.OrderThere {
		size = plan.SizeText(r.Bytes)
	}
	return fmt.Sprintf("%s%9s  %s", line, size, r.State)
}

// writeOrder writes the summary as a table for spreadsheets, in place of an
// earlier run's.
func writeOrder(path string, o *interp.Order) error {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write(strings.Split(orderColumns, ","))
	for _, r := range o.Rows {
		rec := []string{r.Recipe, r.Print, "", "", "", "", "", "", "", r.Lab, ""}
		if r.Plan != nil {
			z := r.Plan.Sizes()
			copy(rec[2:], []string{filepath.Base(r.File), z.Picture.String(), z.Face.String(), z.Whole.String(), exact.Decimals(r.Plan.Face.PPI, 4)})
			rec[8] = r.Plan.Mark.String()
		}
		warn := r.Warnings
		switch r.State {
		case interp.OrderBuilt, interp.OrderThere:
			rec[7] = strconv.FormatInt(r.Bytes, 10)
		case interp.OrderFailed:
			warn = append([]string{"not built: " + r.Err.Error()}, warn...)
		default:
			warn = append([]string{"not built: the run was stopped before"}, warn...)
		}
		rec[10] = strings.Join(warn, "; ")
		w.Write(rec)
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return err
	}
	return disk.Write(path, b.Bytes(), true)
}

func orderJSON(o *interp.Order) any {
	type row struct {
		Recipe   string      `json:"recipe"`
		Print    string      `json:"print,omitempty"`
		File     string      `json:"file,omitempty"`
		Log      string      `json:"log,omitempty"`
		State    string      `json:"state"`
		Lab      string      `json:"lab,omitempty"`
		Sizes    *plan.Sizes `json:"sizes,omitempty"`
		Size     int64       `json:"size,omitempty"`
		SHA256   string      `json:"sha256,omitempty"`
		Mark     string      `json:"mark,omitempty"`
		Error    string      `json:"error,omitempty"`
		Warnings []string    `json:"warnings,omitempty"`
	}
	rows := []row{}
	for _, r := range o.Rows {
		x := row{Recipe: r.Recipe, Print: r.Print, File: r.File, Log: r.Log, State: string(r.State), Lab: r.Lab, Size: r.Bytes, Warnings: r.Warnings}
		if r.Plan != nil {
			z := r.Plan.Sizes()
			x.Mark, x.Sizes = r.Plan.Mark.String(), &z
		}
		if r.Bytes > 0 {
			x.SHA256 = r.Sum.String()
		}
		if r.Err != nil {
			x.Error = r.Err.Error()
		}
		rows = append(rows, x)
	}
	return rows
}
