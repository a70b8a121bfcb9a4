package main

import (
	"fmt"

	"platemark/interp"
)

type verifyCmd struct {
	Logs   []string `arg:"" name:"log" help:"Audit logs (FILE.MARK.audit.jsonl)." type:"readablefile"`
	Recipe bool     `help:"Exit with 1 also where the recipe beside a log makes another print now."`
	JSON   bool     `help:"Say the verdicts as JSON."`
}

func (verifyCmd) Help() string {
	return `Checks that no line of a log was changed, that the inputs and the print file are the recorded ones, and says whether the recipe beside it still makes this print.

Example:
  platemark verify salt-road-60x40.jpg.*.audit.jsonl`
}

func (c *verifyCmd) Run(a *app) error {
	ok := true
	var all []*interp.Verdict
	for _, log := range c.Logs {
		v, err := interp.Verify(a.ctx, log, c.Recipe)
		if err != nil {
			return err
		}
		ok = ok && v.OK
		all = append(all, v)
		if !c.JSON {
			a.tellVerdict(v)
			a.staleLog(log)
		}
	}
	if c.JSON {
		if err := a.json(all); err != nil {
			return err
		}
	}
	if !ok {
		return errRefused
	}
	return nil
}

func (a *app) tellVerdict(v *interp.Verdict) {
	word := "verified"
	if !v.OK {
		word = "DIFFERS"
	}
	fmt.Fprintf(a.out, "%s: %s\n", v.Log, word)
	for _, l := range v.Lines {
		sign := "  ok    "
		if !l.OK {
			sign = "  WRONG "
		}
		fmt.Fprintln(a.out, sign+l.What)
	}
}
