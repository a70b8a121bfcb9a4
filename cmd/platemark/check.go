package main

import (
	"encoding/json"
	"fmt"
	"strings"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/lang"
)

type checkCmd struct {
	Recipes []string `arg:"" name:"recipe" help:"Recipe files." type:"readablefile"`
	Masks   bool     `help:"Say what share of the frame and of each print the masks cover."`
	Fix     bool     `help:"First mend in the recipes what can mean one thing only."`
	JSON    bool     `help:"Say the problems as JSON."`
}

func (checkCmd) Help() string {
	return `Every problem of a file is said in one run, with its place and how to mend it. Notes are said too. Nothing is written, unless --fix is given: then what can mean one thing only, such as a comma in a number or a special space, is mended in the recipe itself, and said; the rest is left to you.

Examples:
  platemark check salt-road.recipe
  platemark check --masks salt-road.recipe
  platemark check --fix salt-road.recipe`
}

func (c *checkCmd) Run(a *app) error {
	if c.JSON && c.Masks {
		return usageError{"plan --json says what masks cover; check --json says problems"}
	}
	if c.JSON && c.Fix {
		return usageError{"--fix says in words what it mended; check again with --json"}
	}
	failed := false
	all := []lang.Diagnostic{}
	for _, file := range c.Recipes {
		if c.Fix {
			if err := a.mend(file); err != nil {
				return err
			}
		}
		j, err := interp.Load(a.ctx, file, interp.LoadOptions{NoOutputs: true, Masks: true, Shares: c.Masks, Heads: true})
		if err != nil {
			return err
		}
		j.Close()
		failed = failed || j.Failed()
		if c.JSON {
			all = append(all, j.Diags...)
			continue
		}
		a.problems(j.Source, j.Diags, lang.Note)
		if !j.Failed() {
			fmt.Fprintf(a.out, "%s: ready to build\n", file)
			for _, p := range j.Plans {
				if m := j.Masks[p]; c.Masks && len(m) > 0 {
					fmt.Fprintf(a.out, "  print %s\n", p.Name)
					a.tellMasks(m)
				}
			}
		}
	}
	text, err := lang.JSON(all)
	if err != nil {
		return err
	}
	return a.end(c.JSON, json.RawMessage(text), failed)
}

// mend makes the safe mends of a recipe, and says which.
func (a *app) mend(file string) error {
	src, err := interp.ReadRecipe(file)
	if err != nil {
		return err
	}
	out, mended := lang.Mend(file, src)
	if len(mended) == 0 {
		return nil
	}
	if err := disk.Rewrite(file, src, out); err != nil {
		return err
	}
	for _, d := range mended {
		now := "now " + strings.TrimSpace(d.Fix.Text)
		if d.Fix.Text == "" {
			now = "taken out"
		} else if strings.TrimSpace(d.Fix.Text) == "" {
			now = "now a space"
		}
		fmt.Fprintf(a.out, "%s:%d: mended: %s; %s\n", file, d.Span.Line, harmless(d.Summary), harmless(now))
	}
	return nil
}
