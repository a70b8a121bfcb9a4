package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/interp/plan"
	"platemark/lang"
)

type newCmd struct {
	Master string `arg:"" name:"master" help:"The master, a TIFF or PNG file." type:"readablefile"`
	Out    string `short:"o" help:"The recipe to write, instead of one beside the master with its name." placeholder:"FILE"`
}

func (newCmd) Help() string {
	return `Writes a first recipe from a master: its size, shape and profile and the effective resolution at usual print sizes as comments, and one print that builds. Nothing that exists is overwritten.

Examples:
  platemark new salt-road.tif
  platemark new masters/salt-road.tif -o salt-road.recipe`
}

func (c *newCmd) Run(a *app) error {
	out := cmp.Or(c.Out, strings.TrimSuffix(c.Master, filepath.Ext(c.Master))+".recipe")
	taken := fmt.Errorf("%s exists already; name another with -o", out)
	if _, err := os.Lstat(out); err == nil {
		return taken
	}
	text, err := plan.NewRecipe(a.ctx, c.Master, out)
	if err != nil {
		return err
	}
	err = disk.Write(out, text, false)
	if errors.Is(err, fs.ErrExist) {
		return taken
	}
	if err != nil {
		return err
	}
	j, err := interp.Load(a.ctx, out, interp.LoadOptions{NoOutputs: true})
	if err != nil {
		return err
	}
	defer j.Close()
	// What is still to be decided is no failure of writing it.
	if j.Failed() {
		fmt.Fprintf(a.out, "%s written; to decide before it builds:\n", out)
		for _, d := range j.Diags {
			if d.Severity == lang.Error {
				fmt.Fprintf(a.out, "  line %d: %s\n", d.Span.Line, d.Summary)
				for _, h := range d.Hints {
					fmt.Fprintf(a.out, "    hint: %s\n", h)
				}
			}
		}
		return nil
	}
	fmt.Fprintf(a.out, "%s written\n", out)
	a.problems(j.Source, j.Diags, lang.Note)
	fmt.Fprintf(a.out, "hint: platemark plan %s\n", disk.Typed(out))
	return nil
}
