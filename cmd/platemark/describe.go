package main

import (
	"fmt"

	"platemark/interp"
)

type describeCmd struct {
	Files []string `arg:"" name:"file" help:"Pictures (TIFF, PNG, JPEG) or colour profiles." type:"readablefile"`
	JSON  bool     `help:"Say it as JSON."`
	workersFlag
}

func (describeCmd) Help() string {
	return `Says of each file what matters for printing: its size, the depth that is really used, its profile, its orientation, the print sizes that its own pixels are enough for, and what a recipe needs. Every pixel is read.

Examples:
  platemark describe salt-road.tif
  platemark describe papers/baryta.icc`
}

func (c *describeCmd) Run(a *app) error {
	refused := false
	all := []*interp.Description{}
	for i, file := range c.Files {
		d, err := interp.Describe(a.ctx, file, c.n())
		if err != nil {
			return err
		}
		refused = refused || d.Refused != ""
		if c.JSON {
			all = append(all, d)
			continue
		}
		if i > 0 {
			fmt.Fprintln(a.out)
		}
		a.tellDescription(d)
	}
	return a.end(c.JSON, all, refused)
}

// turns says in words what the orientations mean, by number.
var turns = [9]string{"", "", "mirrored", "upside down", "upside down and mirrored", "on its side and mirrored",
	"on its side, to be turned right", "on its side and mirrored", "on its side, to be turned left"}

func (a *app) tellDescription(d *interp.Description) {
	line := func(what, format string, v ...any) {
		fmt.Fprintf(a.out, "  %-11s %s\n", what, fmt.Sprintf(format, v...))
	}
	fmt.Fprintf(a.out, "%s: %s, %s\n", d.File, d.Kind, interp.SizeText(d.Bytes))
	if d.Width > 0 {
		kind := "bits"
		if d.Float {
			kind = "bits, floating point"
		}
		line("picture", "%d x %d px, %s, %d %s", d.Width, d.Height, d.Colour, d.Bits, kind)
	}
	for _, l := range [][2]string{{"stored", d.Stored}, {"depth", d.Depth}} {
		if l[1] != "" {
			line(l[0], "%s", l[1])
		}
	}
	if d.Neutral {
		line("colour", "none: red, green and blue are equal everywhere")
	}
	switch {
	case d.Profile != "":
		line("profile", "%s", d.Profile)
	case d.Width > 0:
		line("profile", "none")
	}
	if d.Class != "" {
		line("kind", "%s, %s", d.Colour, d.Class)
	}
	if d.Says != "" {
		line("says", "%s", d.Says)
	}
	if d.Width > 0 {
		ppi := "none stated"
		if d.PPI != "" {
			ppi = d.PPI + " ppi stated (a print's size is the recipe's matter)"
		}
		line("resolution", "%s", ppi)
		if d.Orientation > 1 {
			line("stands", "%s (orientation %d); it is turned upright when it is read", turns[d.Orientation], d.Orientation)
		} else {
			line("stands", "upright")
		}
	}
	if d.Alpha != "" {
		line("alpha", "%s", d.Alpha)
	}
	for _, s := range d.Sizes {
		line(fmt.Sprintf("at %d ppi", s.PPI), "%s x %s in, %s x %s cm", s.WidthIn, s.HeightIn, s.WidthCM, s.HeightCM)
	}
	for _, o := range d.Others {
		line("also holds", "%s, not used", o)
	}
	for _, w := range d.Warnings {
		line("warning", "%s", w)
	}
	if d.Refused != "" {
		line("refused", "%s", d.Refused)
	}
	for _, n := range d.Needs {
		line("needs", "%s", n)
	}
	if d.Recipe != "" {
		line("in a recipe", "%s", d.Recipe)
	}
}
