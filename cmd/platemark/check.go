package main

import (
	"encoding/json"
	"fmt"

	"platemark/interp"
	"platemark/lang"
)

type checkCmd struct {
	Recipes []string `arg:"" name:"recipe" help:"Recipe files." type:"readablefile"`
	Masks   bool     `help:"Say what share of the frame and of each print the masks cover."`
	JSON    bool     `help:"Say the problems as JSON."`
}

func (checkCmd) Help() string {
	return `Every problem of a file is said in one run, with its place and how to mend it. Notes are said too. Nothing is written.

Examples:
  platemark check salt-road.recipe
  platemark check --masks salt-road.recipe`
}

func (c *checkCmd) Run(a *app) error {
	if c.JSON && c.Masks {
		return usageError{"plan --json says what masks cover; check --json says problems"}
	}
	failed := false
	all := []lang.Diagnostic{}
	for _, file := range c.Recipes {
		j, err := interp.Load(a.ctx, file, interp.LoadOptions{NoOutputs: true, Masks: true})
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
