package main

import (
	"fmt"

	"platemark/interp"
	"platemark/lang"
)

type checkCmd struct {
	Recipes []string `arg:"" name:"recipe" help:"Recipe files." type:"readablefile"`
	JSON    bool     `help:"Say the problems as JSON."`
}

func (checkCmd) Help() string {
	return `Every problem of a file is said in one run, with its place and how to mend it. Notes are said too. Nothing is written.

Example:
  platemark check salt-road.recipe`
}

func (c *checkCmd) Run(a *app) error {
	failed := false
	all := []lang.Diagnostic{}
	for _, file := range c.Recipes {
		j, err := interp.Load(a.ctx, file, interp.LoadOptions{NoOutputs: true})
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
		}
	}
	if c.JSON {
		b, err := lang.JSON(all)
		if err != nil {
			return err
		}
		fmt.Fprintf(a.out, "%s\n", b)
	}
	if failed {
		return errRefused
	}
	return nil
}
