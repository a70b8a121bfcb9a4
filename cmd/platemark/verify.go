package main

import (
	"fmt"

	"platemark/interp"
	"platemark/interp/compare"
	"platemark/interp/pack"
)

type verifyCmd struct {
	Logs   []string `arg:"" name:"log" help:"Audit logs (FILE.MARK.audit.jsonl), or packages: folders or zip files." type:"readableplace"`
	LookIn []string `help:"Also look below this folder, by their digests, for inputs and prints that aren't where they were (may be repeated)." placeholder:"FOLDER"`
	Recipe bool     `help:"Exit with 1 also where the recipe beside a log makes another print now."`
	JSON   bool     `help:"Say the verdicts as JSON."`
	signersFlags
}

func (verifyCmd) Help() string {
	return `Checks that no line of a log was changed and that the inputs and the print file are the recorded ones; plans the recorded recipe again and compares its mark, steps and records; and says whether the recipe beside the log still makes this print. No picture is computed: reprint does that. Of a package every file is read and held against its manifest, and each that was changed, is missing or was added is named.

A signature, LOG.sig, must fit the log. With --signers there must be one, by a key that the file lets sign logs (its namespace is platemark-log) at the time that the log tells of. Without it whoever can write the files can write the log anew. A package's own signature is tagmanifest-sha256.txt.sig (its namespace is platemark-package).

Exit code 0 where all is there and as recorded, 1 where something differs or is absent.

Examples:
  platemark verify salt-road-60x40.jpg.*.audit.jsonl
  platemark verify LOG --look-in ../archive
  platemark verify LOG --signers studio.signers
  platemark verify salt-road.zip`
}

func (c *verifyCmd) Run(a *app) error {
	who, err := c.whose(a)
	if err != nil {
		return err
	}
	ok := true
	var all []*interp.Verdict
	for _, log := range c.Logs {
		var v *interp.Verdict
		var err error
		packed := pack.Is(log)
		if packed {
			v, err = pack.Verify(a.ctx, log, who)
		} else {
			v, err = interp.Verify(a.ctx, log, interp.VerifyOptions{Strict: c.Recipe, LookIn: c.LookIn, Whose: who})
		}
		if err != nil {
			return err
		}
		ok = ok && v.OK
		all = append(all, v)
		if !c.JSON {
			a.tellVerdict(v)
			if !packed {
				a.warnStale(compare.StaleLog(a.ctx, log))
			}
		}
	}
	return a.end(c.JSON, all, !ok)
}

func (a *app) tellVerdict(v *interp.Verdict) {
	word := map[interp.FindingState]string{interp.Fine: "verified", interp.Wrong: "DIFFERS", interp.Absent: "NOT WHOLE", interp.NoLog: "NO LOG"}[v.State]
	fmt.Fprintf(a.out, "%s: %s\n", v.Log, word)
	signs := map[interp.FindingState]string{interp.Fine: "ok", interp.Wrong: "WRONG", interp.Absent: "absent", interp.Noted: ""}
	for _, l := range v.Lines {
		fmt.Fprintf(a.out, "  %-6s  %s\n", signs[l.State], l.What)
	}
}
