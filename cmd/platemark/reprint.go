package main

import (
	"context"
	"fmt"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/pack"
	"platemark/interp/plan"
)

type reprintCmd struct {
	Logs []string `arg:"" name:"log" help:"Audit logs (FILE.MARK.audit.jsonl), or packages: folders or zip files." type:"readableplace"`
	lookInFlag
	Out   string `help:"Folder for the print files, instead of beside their logs; of packages instead of the folder here." placeholder:"FOLDER"`
	Force bool   `help:"Replace prints that exist, which a log beside each tells from other files."`
	JSON  bool   `help:"Say the result as JSON."`
	signersFlags
	workersFlag
}

func (reprintCmd) Help() string {
	return `Runs the recipe as the log records it and writes the file only if it is identical. With --out every picture on the way is compared with the recorded digests, too, and a log is written that says so; beside its own log they are compared only where the file differs, to name the step. The recipe file isn't needed; the master, masks and profiles are. A package (platemark pack) holds them: nothing else is needed then.

Examples:
  platemark reprint salt-road-60x40.jpg.4be11c90a2f7.audit.jsonl
  platemark reprint LOG --look-in ../archive --out ../reprints
  platemark reprint salt-road.zip --out ../reprints`
}

func (c *reprintCmd) Run(a *app) error {
	who, err := c.whose(a)
	if err != nil {
		return err
	}
	var all []interp.Built
	failed := false
	for _, log := range c.Logs {
		b, l, err := reprint(a.ctx, log, interp.ReprintOptions{LookIn: c.LookIn, Whose: who,
			BuildOptions: interp.BuildOptions{Workers: c.n(), Out: c.Out, Force: c.Force, Progress: a.bar.tell}})
		if err != nil {
			if len(c.Logs) == 1 || a.ctx.Err() != nil {
				return err
			}
			a.finish(err)
			failed = true
			continue
		}
		all = append(all, *b)
		if !c.JSON {
			fmt.Fprintf(a.out, "%s\n    %d x %d px, %s\n    identical: sha256 %s\n", b.File, b.W, b.H, plan.SizeText(b.Size), b.Sum)
			fmt.Fprintf(a.out, "    %s\n", b.Signature.Of("the log"))
			for _, w := range b.Elsewhere {
				fmt.Fprintln(a.out, "    "+w)
			}
			fmt.Fprintf(a.out, "    in the log's language: %s: %s\n", l.Language(), l.Operations())
		}
	}
	return a.end(c.JSON, builtJSON(all...), failed)
}

// reprint makes the print of a log or a package again, and gives the log.
func reprint(ctx context.Context, path string, o interp.ReprintOptions) (*interp.Built, *audit.Log, error) {
	if pack.Is(path) {
		return pack.Reprint(ctx, path, o)
	}
	l, err := audit.ReadLog(path)
	if err != nil {
		return nil, nil, err
	}
	b, err := interp.ReprintLog(ctx, l, o)
	return b, l, err
}
