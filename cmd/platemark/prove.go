package main

import (
	"cmp"
	"fmt"
	"io/fs"
	"os"

	"platemark/interp/vectors"
	"platemark/lang"
	"platemark/testdata/frozen"
)

type proveCmd struct {
	Vectors string `help:"Compute the vectors of this folder in place of the program's own." placeholder:"FOLDER" type:"existingdir"`
	JSON    bool   `help:"Say the result as JSON."`
	workersFlag
}

func (proveCmd) Help() string {
	return `Shows whether this machine makes the bytes that every machine must: computes again what the program carries of every operation, encoder, reader, digest and table, builds the recipes with every step, and compares each with what was frozen. It takes some seconds, and reads no recipe and no picture of yours.

Exit code 0 where all are the same, 1 where one differs: then trust no print that this machine makes, nor its reprints.

Examples:
  platemark prove
  platemark prove --vectors ../vectors-of-2026 --json`
}

// differencesTold is how many vectors that differ are shown; JSON has all.
const differencesTold = 10

func (c *proveCmd) Run(a *app) error {
	var folder fs.FS = frozen.Files
	if c.Vectors != "" {
		folder = os.DirFS(c.Vectors)
	}
	p, err := vectors.Prove(a.ctx, folder, c.n(), a.bar.tell)
	if err != nil {
		return err
	}
	a.bar.close()
	if !c.JSON {
		a.tellVectors(p, c.Vectors == "")
	}
	return a.end(c.JSON, p, p.Same < p.Vectors)
}

// tellVectors says what differs; own says that the vectors are the program's own.
func (a *app) tellVectors(p *vectors.Result, own bool) {
	if p.Same == p.Vectors {
		fmt.Fprintf(a.out, "this machine makes the same bytes: %d of %d\n", p.Same, p.Vectors)
		return
	}
	piece := ""
	for _, d := range p.Different[:min(len(p.Different), differencesTold)] {
		if d.Piece != piece {
			piece = d.Piece
			fmt.Fprintln(a.out, piece)
		}
		fmt.Fprintf(a.out, "  %s (line %d of %s)\n", cmp.Or(d.Case, "the case"), d.Line, d.File)
		if d.Frozen != "" {
			fmt.Fprintf(a.out, "    frozen  %s\n", d.Frozen)
		}
		fmt.Fprintf(a.out, "    here    %s\n", d.Here)
	}
	if n := len(p.Different) - differencesTold; n > 0 {
		fmt.Fprintf(a.out, "and %s\n", lang.Count(n, "further vector"))
	}
	a.say(different, "this machine makes other bytes: %d of %d are the same", p.Same, p.Vectors)
	if !own {
		a.say(aHint, "another draft of the language has other vectors; `platemark prove` alone computes this program's own")
		return
	}
	a.say(aHint, "update the program and try again; if it stays, the machine computes wrongly: make no prints with it, and report the lines above")
}
