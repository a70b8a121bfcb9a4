package main

import (
	"fmt"

	"platemark/interp/master"
)

type adoptCmd struct {
	File  string `arg:"" name:"file" help:"A JPEG file." type:"readablefile"`
	Out   string `short:"o" help:"The TIFF file to write (default: the same name with .tif, beside it)." placeholder:"FILE"`
	Space string `help:"The space of a JPEG without a profile; its profile is written into the TIFF." placeholder:"NAME"`
	JSON  bool   `help:"Say what was done as JSON."`
}

func (adoptCmd) Help() string {
	return `A JPEG can't be a master: programs decode it differently, and a print must come out the same years later. This decodes it once into a 16-bit TIFF, upright, with its profile, resolution, title and rights. Nothing is overwritten.

Example:
  platemark adopt salt-road.jpg`
}

func (c *adoptCmd) Run(a *app) error {
	d, err := master.Adopt(a.ctx, c.File, c.Out, c.Space)
	if err != nil {
		return err
	}
	if c.JSON {
		return a.json(d)
	}
	kind := "RGB"
	if d.Channels == 1 {
		kind = "grey"
	}
	fmt.Fprintf(a.out, "%s: %s\n  sha256   %s\n", d.From, d.Source, d.FromSHA256)
	fmt.Fprintf(a.out, "%s: %d x %d px, 16 bits, %s\n  sha256   %s\n", d.To, d.Width, d.Height, kind, d.ToSHA256)
	fmt.Fprintf(a.out, "  decoder  %s\n", d.Decoder)
	for _, l := range [][2]string{{"profile", d.Profile}, {"ppi", d.PPI}, {"title", d.Title}, {"rights", d.Rights}} {
		if l[1] != "" {
			fmt.Fprintf(a.out, "  %-7s  %s\n", l[0], l[1])
		}
	}
	for _, n := range d.Notes {
		fmt.Fprintf(a.out, "note: %s\n", n)
	}
	fmt.Fprintf(a.out, "%s\nIn a recipe beside it:\n    %s\n", master.AdoptWarning, d.Recipe)
	return nil
}
