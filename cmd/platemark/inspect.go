package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"platemark/cmd/platemark/view"
	"platemark/interp/disk"
	"platemark/interp/retouch"
	"platemark/lang"
)

type inspectCmd struct {
	File  string `arg:"" help:"A recipe, or a picture that could be its master." type:"readablefile"`
	Print string `help:"Look over the finished pixels of this print; without it, over the master as the head of prepare leaves it." placeholder:"NAME"`
	From  string `help:"The distance that the print is looked at from, as \"1.5 m\" (default: its diagonal)." placeholder:"DISTANCE"`

	Take    string `help:"Write the lines of these finds into the recipe's prepare block." placeholder:"1,4,7-12"`
	Dismiss string `help:"Remember beside the recipe that these finds are meant to be so." placeholder:"2,5"`

	Page         string `help:"Write a page to look at: where the finds lie, and each at 100 %, before and after its line." placeholder:"FILE.html"`
	Force        bool   `help:"Replace the page if it exists."`
	JSON         bool   `help:"Say what was found as JSON."`
	QuietIfClean bool   `help:"Say nothing if nothing is seen that isn't mended or dismissed; otherwise end with exit code 1."`
	workersFlag
}

func (inspectCmd) Help() string {
	return `Finds what the eye would miss: hot and dead pixels, dust, hairs and scratches, coloured fringes; and says what is clipped, posterised, compressed, banded or sharpened too much, how noisy it is and where it is sharp. Finds come in the order in which they are seen on the largest print of the recipe, from its diagonal or from where you say: 1 is just seen, and what is less isn't listed.

Of a recipe the master is looked over, so that a find's number stays the same whatever is taken; with --print the finished pixels of a print, after all its mends. --take writes lines of ordinary recipe text, in which you can change what you like, and touches nothing else. What is dismissed is remembered by its place and by what the master holds there, for every print.

Exit codes: 0, but with --quiet-if-clean 1 where something is still seen; 2 wrong use.

Examples:
  platemark inspect salt-road.tif
  platemark inspect salt-road.recipe --page finds.html
  platemark inspect salt-road.recipe --take 1,4,7-12 --dismiss 2
  platemark inspect salt-road.recipe --print large --from "1.5 m" --quiet-if-clean`
}

func (c *inspectCmd) Run(a *app) error {
	take, err := numbersOf("--take", c.Take)
	if err != nil {
		return err
	}
	dismiss, err := numbersOf("--dismiss", c.Dismiss)
	if err != nil {
		return err
	}
	o := retouch.Options{Print: c.Print, Workers: c.n(), Progress: a.bar.tell}
	if o.From, err = distance(c.From); err != nil {
		return err
	}
	recipe := retouch.IsRecipe(c.File)
	switch {
	case !recipe && (c.Print != "" || c.Take != "" || c.Dismiss != ""):
		return usageError{fmt.Sprintf("--print, --take and --dismiss go with a recipe, and %s isn't one; `platemark new %s` makes one", c.File, disk.Typed(c.File))}
	case c.Print != "" && c.Take != "":
		return usageError{"--take goes by the numbers of the master's finds: leave --print out, look at what is found there, and take from that"}
	case c.Force && c.Page == "":
		return usageError{"--force goes with --page"}
	}
	if err := ending("--page", c.Page, ".html"); err != nil {
		return err
	}
	if c.Page != "" {
		if err := free(c.Page, c.Force, "another"); err != nil {
			return err
		}
	}
	j, assumed, err := retouch.Load(a.ctx, c.File, o)
	if err != nil {
		return err
	}
	defer j.Close()
	if a.problems(j.Source, j.Diags, lang.Error); j.Failed() {
		return errRefused
	}
	l, err := retouch.Over(a.ctx, j, o)
	if err != nil {
		return err
	}
	defer l.Close()
	if err := c.change(a, l, take, dismiss); err != nil {
		return err
	}
	open := l.Visible()
	if c.Page != "" {
		if err := c.page(a, l); err != nil {
			return err
		}
	}
	if c.QuietIfClean && len(open) == 0 {
		return nil
	}
	if assumed != "" {
		a.say(aNote, "%s says no colour space: looked at as %s", c.File, assumed)
	}
	if !c.JSON && c.Take == "" && c.Dismiss == "" {
		a.tellLook(c.File, l)
	}
	if !c.JSON && c.Page != "" {
		fmt.Fprintf(a.out, "look at %s\n", c.Page)
	}
	return a.end(c.JSON, lookJSON(c.File, l), c.QuietIfClean)
}

func (c *inspectCmd) change(a *app, l *retouch.Look, take, dismiss []int) error {
	for _, n := range slices.Concat(take, dismiss) {
		switch {
		case n > len(l.Finds):
			return usageError{fmt.Sprintf("there is no find %d: they are numbered from 1 to %d", n, len(l.Finds))}
		case slices.Contains(take, n) && slices.Contains(dismiss, n):
			return usageError{fmt.Sprintf("find %d can't be both taken and dismissed", n)}
		}
	}
	say := func(format string, v ...any) {
		if !c.JSON {
			fmt.Fprintf(a.out, format+"\n", v...)
		}
	}
	if len(take) > 0 {
		t, err := l.Take(a.ctx, take)
		if err != nil {
			return err
		}
		for _, s := range t.Added {
			say("    %s", s)
		}
		for _, s := range t.Widened {
			say("    %s (it held less)", s)
		}
		switch n := len(t.Added); {
		case n > 0:
			say("%s: %s written into prepare", c.File, lang.Count(n, "line"))
		case len(t.Widened) == 0:
			say("%s: nothing to write", c.File)
		}
		if len(t.Had) > 0 {
			say("mended already: %s", numbersText(t.Had))
		}
		for _, x := range t.Left {
			a.say(aWarning, "find %d is left: %s", x.Number, x.Why)
		}
	}
	if len(dismiss) > 0 {
		fresh, err := l.Dismiss(a.ctx, dismiss)
		if err != nil {
			return err
		}
		if len(fresh) > 0 {
			say("dismissed: %s", numbersText(fresh))
		} else {
			say("dismissed already: %s", numbersText(dismiss))
		}
	}
	return nil
}

func (c *inspectCmd) page(a *app, l *retouch.Look) error {
	v, err := l.Pictures(a.ctx)
	if err != nil {
		return err
	}
	return disk.Make(c.Page, c.Force, func(w *os.File) error {
		return view.WriteInspect(w, view.NewInspectPage(filepath.Base(c.File), l, v))
	})
}

// numbersOf reads numbers and ranges, such as 1,4,7-12, sorted and each once.
func numbersOf(flag, text string) (out []int, err error) {
	if text == "" {
		return nil, nil
	}
	for _, s := range strings.Split(text, ",") {
		from, till, is := strings.Cut(strings.TrimSpace(s), "-")
		a, err := strconv.Atoi(from)
		b := a
		if is && err == nil {
			b, err = strconv.Atoi(till)
		}
		if err != nil || a < 1 || b < a || b > 1_000_000 {
			return nil, usageError{fmt.Sprintf("%s takes numbers of finds, as 1,4,7-12; %q is none", flag, s)}
		}
		for n := a; n <= b; n++ {
			out = append(out, n)
		}
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

// numbersText is numbers as a person would list them: 1, 4, 7-12.
func numbersText(list []int) string {
	var out []string
	slices.Sort(list)
	for i := 0; i < len(list); {
		k := i
		for k+1 < len(list) && list[k+1] == list[k]+1 {
			k++
		}
		switch {
		case k > i+1:
			out = append(out, fmt.Sprintf("%d-%d", list[i], list[k]))
		default:
			for _, n := range list[i : k+1] {
				out = append(out, fmt.Sprint(n))
			}
		}
		i = k + 1
	}
	return strings.Join(out, ", ")
}

// distance reads a viewing distance in mm; an empty text is 0.
func distance(text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	number := strings.TrimRight(text, "abcdefghijklmnopqrstuvwxyz ")
	mm := map[string]float64{"m": 1000, "cm": 10, "mm": 1, "in": 25.4}[strings.TrimSpace(text[len(number):])]
	v, err := strconv.ParseFloat(number, 64)
	if v *= mm; err != nil || !(v >= 50 && v <= 100_000) {
		return 0, usageError{fmt.Sprintf("--from takes a distance from 5 cm to 100 m, as \"1.5 m\", \"80 cm\" or \"30 in\"; %q isn't one", text)}
	}
	return v, nil
}

// looksTold is how many finds are listed; JSON has all.
const looksTold = 40

// tellLook lists what is seen, the most visible first.
func (a *app) tellLook(file string, l *retouch.Look) {
	what := "the master"
	if l.Print != "" {
		what = "print " + l.Print
	}
	fmt.Fprintf(a.out, "%s: %s, %d x %d px, as seen on %s\n", file, what, l.W, l.H, l.SeenOn())
	open := l.Visible()
	told := open[:min(len(open), looksTold)]
	rows := [][]string{}
	for _, f := range told {
		rows = append(rows, []string{fmt.Sprint(f.Number), fmt.Sprintf("%.1f", f.Seen), f.Name(), "(" + f.X + ", " + f.Y + ")", f.How()})
	}
	if len(rows) > 0 {
		rows = slices.Insert(rows, 0, []string{"no.", "seen", "what", "where", "how"})
	}
	width := make([]int, 5)
	for _, r := range rows {
		for i, s := range r {
			width[i] = max(width[i], len(s))
		}
	}
	for _, r := range rows {
		fmt.Fprintf(a.out, "  %*s  %*s  %-*s  %-*s  %s\n", width[0], r[0], width[1], r[1], width[2], r[2], width[3], r[3], r[4])
	}
	if n := len(open) - len(told); n > 0 {
		fmt.Fprintf(a.out, "  and %d more that are seen less; --json and --page tell of them\n", n)
	}
	for _, s := range l.MoreWords() {
		fmt.Fprintf(a.out, "  %s\n", s)
	}
	if len(open) == 0 {
		fmt.Fprintln(a.out, "  nothing is seen that isn't mended or dismissed")
	}
	for _, s := range l.Words() {
		fmt.Fprintf(a.out, "  %s\n", s)
	}
	if s := restText(l); s != "" {
		fmt.Fprintf(a.out, "  %s\n", s)
	}
}

// restText counts the finds that aren't listed, and why.
func restText(l *retouch.Look) string {
	n := map[string]int{}
	for _, f := range l.Finds {
		switch {
		case f.Dismissed:
			n["dismissed"]++
		case f.Line != 0:
			n["mended by the recipe"]++
		case f.Seen < 1:
			n["not seen at this size and distance"]++
		}
	}
	var out []string
	for _, s := range []string{"mended by the recipe", "dismissed", "not seen at this size and distance"} {
		if n[s] > 0 {
			out = append(out, fmt.Sprintf("%d %s", n[s], s))
		}
	}
	if len(out) == 0 {
		return ""
	}
	return "besides: " + strings.Join(out, ", ")
}
