package main

import (
	"fmt"
	"slices"
	"strings"

	"platemark/interp"
	"platemark/interp/compare"
	"platemark/interp/disk"
	"platemark/interp/rounds"
	"platemark/lang"
)

type roundCmd struct {
	Recipe string `arg:"" help:"The recipe." type:"readablefile"`
	Note   string `help:"What was found in this round, in your words." placeholder:"TEXT"`
}

func (roundCmd) Help() string {
	return `Keeps the recipe and the audit logs of its prints as the round that its round line says, in the folder rounds beside it, and raises that number in the recipe. Nothing else in the recipe is touched. FILE@2 then names round 2 for diff.

Example:
  platemark round salt-road.recipe --note "sky too cold in the hard proof"`
}

func (c *roundCmd) Run(a *app) error {
	e, err := rounds.Keep(a.ctx, c.Recipe, c.Note)
	if err != nil {
		return err
	}
	logs := 0
	for _, p := range e.Prints {
		logs += len(p.Logs)
	}
	fmt.Fprintf(a.out, "kept round %d of %s: %s, %s; the recipe says round %d now\n", e.Number, shortPath(c.Recipe),
		lang.Count(len(e.Prints), "print"), lang.Count(logs, "log"), e.Number+1)
	for _, p := range e.Prints {
		if len(p.Logs) == 0 {
			a.say(aNote, "no log of print %s lies beside %s: it wasn't built there as the recipe says it now, and can't be approved in this round", p.Print, p.File)
		}
	}
	return nil
}

type roundsCmd struct {
	Recipe  string `arg:"" help:"The recipe." type:"readablefile"`
	Approve string `help:"Record that this print of the latest round is good to print." placeholder:"PRINT"`
	Round   int    `help:"With --approve: the print of this round instead." placeholder:"N"`
	JSON    bool   `help:"Say the list as JSON."`
}

func (roundsCmd) Help() string {
	return `Lists the rounds kept of a recipe with their dates and notes, the mark of each print, and which are approved. An approval is of one print as it was: work on another print leaves it standing.

Examples:
  platemark rounds salt-road.recipe
  platemark rounds salt-road.recipe --approve large`
}

func (c *roundsCmd) Run(a *app) error {
	if c.Approve != "" {
		e, err := rounds.Approve(c.Recipe, c.Approve, c.Round)
		if err != nil {
			return err
		}
		if !c.JSON {
			fmt.Fprintf(a.out, "print %s of round %d is good to print: mark %s\n", e.Print, e.Number, e.Mark[:12])
			return nil
		}
	} else if c.Round != 0 {
		return usageError{"--round goes with --approve"}
	}
	r, err := rounds.Read(c.Recipe)
	if err != nil {
		return err
	}
	if r.Torn != nil {
		a.say(aWarning, "the list of rounds ends in %d bytes that are no entry; the next round or approval moves them aside", len(r.Torn))
	}
	for _, e := range r.Lines {
		if e.Record != "round" {
			continue
		}
		for _, err := range r.Damaged(e) {
			a.say(aWarning, "round %d: %v", e.Number, err)
		}
	}
	if c.JSON {
		return a.json(append([]rounds.Entry{}, r.Lines...))
	}
	if len(r.Lines) == 0 {
		fmt.Fprintf(a.out, "no round of %s is kept yet; `platemark round %s` keeps one\n", shortPath(c.Recipe), disk.Typed(c.Recipe))
	}
	for _, e := range r.Lines {
		switch e.Record {
		case "round":
			a.tellRound(r, e)
		case "recovered":
			fmt.Fprintf(a.out, "the list ended in %d bytes of a run that was cut off; moved aside %s\n", e.Bytes, e.At)
		}
	}
	return nil
}

func (a *app) tellRound(r *rounds.List, e rounds.Entry) {
	fmt.Fprintf(a.out, "round %d  %s  recipe %s\n", e.Number, e.At, e.Recipe[:12])
	if e.Note != "" {
		fmt.Fprintf(a.out, "    %s\n", e.Note)
	}
	width := 0
	for _, p := range e.Prints {
		width = max(width, len(p.Print))
	}
	for _, p := range e.Prints {
		said := ""
		if i := slices.IndexFunc(r.Lines, func(x rounds.Entry) bool {
			return x.Record == "approved" && x.Print == p.Print && x.Mark == p.Mark
		}); i >= 0 {
			said = "  good to print since " + r.Lines[i].At
			if last := r.Approved(p.Print); last.Mark != p.Mark {
				said += fmt.Sprintf(", until round %d was approved", last.Number)
			}
		}
		fmt.Fprintf(a.out, "    %s  mark %s  %s%s\n", pad(p.Print, width), p.Mark[:12], lang.Count(len(p.Logs), "log"), said)
	}
}

// staleOf points out a recipe's approved prints that are other prints now.
func (a *app) staleOf(j *interp.Job) {
	if j.File == "" || j.Failed() {
		return
	}
	marks := map[string]string{}
	for _, p := range j.Plans {
		marks[p.Name] = p.Mark.String()
	}
	a.warnStale(compare.StaleApprovals(a.ctx, j.File, marks))
}

func (a *app) warnStale(list []compare.Stale, err error) {
	if err != nil {
		a.say(aWarning, "the approvals can't be read: %v", err)
		return
	}
	for _, s := range list {
		a.say(aWarning, "print %s was approved in round %d as mark %s; mark %s is another print:", s.Print, s.Round, s.Old[:12], s.New[:12])
		if s.Diff == nil {
			continue
		}
		for _, l := range diffText(s.Diff, false)[1:] {
			fmt.Fprintln(a.err, strings.TrimRight("    "+l, " "))
		}
	}
}
