package main

import (
	"fmt"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/interp/register"
)

type registerCmd struct {
	Add    registerAddCmd    `cmd:"" help:"Register a copy or a proof that was made."`
	List   registerListCmd   `cmd:"" help:"List what is registered."`
	Verify registerVerifyCmd `cmd:"" help:"Check that no entry was changed, and none taken away since a head was written down."`
}

func (registerCmd) Help() string {
	return `The register of a recipe's editions, RECIPE.register.jsonl beside it: which copy of how many, or which proof, was made from which mark and file on which day. It only grows, and holds nothing about buyers.

Examples:
  platemark register add salt-road.recipe --copy 3 --log LOG
  platemark register list salt-road.recipe
  platemark register verify salt-road.recipe --head 5:3fa9…`
}

type registerAddCmd struct {
	Recipe string   `arg:"" help:"The recipe." type:"readablefile"`
	Copy   int      `help:"The copy's number in the edition." placeholder:"N" xor:"number" required:""`
	Proof  int      `help:"Or the proof's number." placeholder:"N" xor:"number" required:""`
	Log    string   `help:"The audit log of the print file that it was printed from." placeholder:"LOG" type:"readablefile" required:""`
	State  string   `help:"The state, if it is a later one than I: the picture was changed on purpose, in the same edition." placeholder:"II"`
	Head   string   `help:"The head that the last add printed: refused if the register has another now." placeholder:"HEAD"`
	LookIn []string `help:"Also look below this folder, by their digests, for inputs and prints that aren't where they were (may be repeated)." placeholder:"FOLDER"`
	JSON   bool     `help:"Say the entry as JSON."`
	signFlag
}

func (registerAddCmd) Help() string {
	return `Registers a copy or a proof. Refused are a number that is registered already or lies beyond the edition that the recipe states, a log that doesn't verify, an edition of another size than before, and another mark than the edition's: another picture is no copy. A change on purpose is a new state, II, III …; numbers go on over all states.

The head that it prints says how many entries there are and what they are. Write it down where the register isn't, such as on the certificate: whoever has it can tell that nothing was changed or taken away since.

Examples:
  platemark register add salt-road.recipe --copy 3 --log salt-road-60x40.jpg.4be11c90a2f7.audit.jsonl
  platemark register add salt-road.recipe --proof 1 --log LOG --sign ~/.ssh/id_ed25519
  platemark register add salt-road.recipe --copy 4 --log LOG --state II`
}

func (c *registerAddCmd) Run(a *app) error {
	key, err := c.key(a)
	if err != nil {
		return err
	}
	r, e, err := register.Add(a.ctx, c.Recipe, register.Options{Copy: c.Copy, Proof: c.Proof, State: c.State, Log: c.Log, Head: c.Head, LookIn: c.LookIn, Key: key})
	if err != nil {
		return err
	}
	n := len(r.Lines)
	if r.Torn != nil {
		a.say(aWarning, "the register ended in %d bytes of a run that was cut off; they were moved aside, to %s", len(r.Torn), shortPath(r.Aside(r.Torn)))
	}
	if n > 1 && r.Lines[n-2].At > e.At {
		a.say(aWarning, "the clock says %s, earlier than the entry before, %s: one of the two was wrong", e.At, r.Lines[n-2].At)
	}
	if c.JSON {
		return a.json(registerRow(r, *e))
	}
	fmt.Fprintf(a.out, "registered %s of print %s, mark %s, %s\nhead %s\n", e.Name(), e.Print, e.Mark[:12], e.Day(), r.Head())
	return nil
}

type registerListCmd struct {
	Recipe string `arg:"" help:"The recipe, or its register." type:"readablefile"`
	JSON   bool   `help:"Say the list as JSON."`
}

func (registerListCmd) Help() string {
	return `Lists the copies and proofs that are registered, with the day, the mark and the print file's digest of each, and the head.

Example:
  platemark register list salt-road.recipe`
}

func (c *registerListCmd) Run(a *app) error {
	r, err := register.Read(c.Recipe)
	if err != nil {
		return err
	}
	if c.JSON {
		return a.json(registerRow(r, r.Lines...))
	}
	if len(r.Lines) == 0 {
		fmt.Fprintf(a.out, "nothing is registered yet; `platemark register add %s --copy 1 --log LOG` does\n", disk.Typed(c.Recipe))
	}
	for _, e := range r.Lines {
		switch e.Record {
		case "recovered":
			fmt.Fprintf(a.out, "%s  the register ended in %d bytes of a run that was cut off; moved aside\n", e.Day(), e.Bytes)
			continue
		case "packed":
			fmt.Fprintf(a.out, "%s  %s  packed without its print file  mark %s  file %s\n", e.Day(), e.Print, e.Mark[:12], e.File[:12])
			continue
		}
		fmt.Fprintf(a.out, "%s  %s  %s  mark %s  file %s\n", e.Day(), e.Print, e.Name(), e.Mark[:12], e.File[:12])
	}
	fmt.Fprintf(a.out, "head %s\n", r.Head())
	return nil
}

func registerRow(r *register.List, list ...register.Entry) any {
	return struct {
		Head    string           `json:"head"`
		Entries []register.Entry `json:"entries"`
	}{r.Head(), append([]register.Entry{}, list...)}
}

type registerVerifyCmd struct {
	Recipe string `arg:"" help:"The recipe, or its register." type:"path"`
	Head   string `help:"A head that was written down: the register must have it, and may have grown since." placeholder:"HEAD"`
	JSON   bool   `help:"Say the verdict as JSON."`
	signersFlags
}

func (registerVerifyCmd) Help() string {
	return `Checks that no entry was changed or taken out, and that each may stand where it does. That none was taken from the end, only a head tells that was written down elsewhere (--head). A signature tells who wrote the entries, and as much: an older register with its older signature still fits.

Exit code 0 where all is well, 1 where it isn't.

Examples:
  platemark register verify salt-road.recipe --head 5:3fa9…
  platemark register verify salt-road.recipe --signers studio.signers`
}

func (c *registerVerifyCmd) Run(a *app) error {
	who, err := c.whose(a)
	if err != nil {
		return err
	}
	v, err := register.Verify(c.Recipe, c.Head, who)
	if err != nil {
		return err
	}
	if v.Log = shortPath(v.Log); !c.JSON {
		a.tellVerdict(v)
	}
	return a.end(c.JSON, []*interp.Verdict{v}, !v.OK)
}
