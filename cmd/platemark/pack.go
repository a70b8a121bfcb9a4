package main

import (
	"fmt"

	"platemark/interp/pack"
	"platemark/interp/plan"
	"platemark/lang"
)

type packCmd struct {
	Log            string `arg:"" help:"The print's audit log (FILE.MARK.audit.jsonl)." type:"readablefile"`
	Out            string `help:"The package: a zip file where the name ends in .zip, else a folder (default: FILE.MARK.package beside the log). From 4 GiB on it is a folder." placeholder:"FOLDER|FILE.zip"`
	WithoutPrint   bool   `help:"Leave the print file out: reprint makes it again. The edition's register is told."`
	WithoutProgram bool   `help:"Leave this program out."`
	Source         string `help:"The folder of the program's source: adds it with the modules that it needs, and a WebAssembly build of it. Needs the Go tools." placeholder:"FOLDER"`
	lookInFlag
	signFlag
}

func (packCmd) Help() string {
	return `A package holds all that a print was made from and with: master, masks, pictures and profiles, recipe, log, the print file, the edition's register, the three books, the frozen vectors, a second reader of recipes in Python, this program, and with --source its source and a form of it that runs wherever WebAssembly does. One page in it, readme.txt, says in plain words how the print is made again with nothing else.

It keeps to RFC 8493 (BagIt), so that sha256sum -c manifest-sha256.txt checks it. It is written under another name, read back whole, and only then gets its own. verify names each file in it that was changed; reprint makes the print from it, in an empty folder, when the originals are gone. --sign KEY signs the whole of it; the log's own signature goes in too.

Examples:
  platemark pack salt-road-60x40.jpg.4be11c90a2f7.audit.jsonl
  platemark pack LOG --out archive/salt-road.zip --without-print
  platemark pack LOG --source ~/platemark --look-in ../archive`
}

func (c *packCmd) Run(a *app) error {
	key, err := c.key(a)
	if err != nil {
		return err
	}
	m, err := pack.Make(a.ctx, c.Log, pack.Options{Out: c.Out, LookIn: c.LookIn, WithoutPrint: c.WithoutPrint,
		WithoutProgram: c.WithoutProgram, Source: c.Source, Key: key, Progress: a.bar.tell})
	if err != nil {
		return err
	}
	a.tellElsewhere(m.Elsewhere)
	fmt.Fprintf(a.out, "%s\n    %s, %s, read back whole\n", m.Path, lang.Count(m.Files, "file"), plan.SizeText(m.Bytes))
	if m.Folder {
		fmt.Fprintln(a.out, "    a folder: a zip file of 4 GiB or more isn't read by every program")
	}
	for _, what := range m.Absent {
		fmt.Fprintf(a.out, "    not in it: %s\n", what)
	}
	return nil
}
