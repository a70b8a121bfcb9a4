package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"strings"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/lang"
)

type fmtCmd struct {
	Recipes []string `arg:"" optional:"" name:"recipe" help:"Recipe files; none reads standard input."`
	Write   bool     `short:"w" help:"Write the form into the files themselves."`
	Diff    bool     `short:"d" help:"Show what would change."`
	Check   bool     `help:"Say only which files aren't in the form; exit code 1 if there is one."`
}

func (fmtCmd) Help() string {
	return `Brings recipes into their one form: indent, spaces, blank lines, columns. Words, numbers, texts and comments stay as they are, and so does the meaning: the marks of the prints don't change. A recipe with errors is left alone.

Without flags the form goes to standard output.

Examples:
  platemark fmt -w salt-road.recipe
  platemark fmt -d salt-road.recipe
  platemark fmt --check *.recipe
  platemark fmt < salt-road.recipe`
}

func (c *fmtCmd) Run(a *app) error {
	names, read := c.Recipes, interp.ReadRecipe
	if len(names) == 0 {
		if c.Write {
			return usageError{"--write works on files; name them"}
		}
		names = []string{"standard input"}
		read = func(string) ([]byte, error) { return io.ReadAll(io.LimitReader(os.Stdin, 8<<20)) }
	}
	failed := false
	for _, name := range names {
		src, err := read(name)
		if err != nil {
			return err
		}
		same, err := c.one(a, name, src)
		if err != nil && err != errRefused {
			return err
		}
		failed = failed || err != nil || c.Check && !same
	}
	return a.end(false, nil, failed)
}

// one brings one text into its form, and says whether it was there already.
func (c *fmtCmd) one(a *app, file string, src []byte) (same bool, err error) {
	out, ds := lang.Format(file, src)
	if lang.HasErrors(ds) {
		a.problems(src, ds, lang.Error)
		return false, errRefused
	}
	same = bytes.Equal(src, out)
	if c.Check && !same {
		fmt.Fprintln(a.out, file)
	}
	if c.Diff && !same {
		fmt.Fprint(a.out, paintDiff(lang.UnifiedDiff(file, file+" (formatted)", src, out), a.outColour()))
	}
	if c.Write && !same {
		if err := disk.Rewrite(file, src, out); err != nil {
			return same, err
		}
	}
	if !c.Write && !c.Diff && !c.Check {
		_, err = unfolded(a.out).Write(out)
	}
	return same, err
}

// paintDiff colours a difference for a terminal, line by line.
func paintDiff(diff string, colour bool) string {
	var b strings.Builder
	for l := range strings.Lines(diff) {
		text, hue := strings.TrimSuffix(l, "\n"), ""
		switch {
		case strings.HasPrefix(l, "---"), strings.HasPrefix(l, "+++"):
			hue = bold
		case strings.HasPrefix(l, "@@"):
			hue = cyan
		case strings.HasPrefix(l, "-"):
			hue = red
		case strings.HasPrefix(l, "+"):
			hue = green
		}
		b.WriteString(paint(colour, hue, text) + l[len(text):])
	}
	return b.String()
}
