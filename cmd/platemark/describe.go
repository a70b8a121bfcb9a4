package main

import (
	"cmp"
	"fmt"

	"platemark/interp/master"
	"platemark/interp/plan"
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
	all := []*master.Description{}
	for i, file := range c.Files {
		d, err := master.Describe(a.ctx, file, c.n())
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

func (a *app) tellDescription(d *master.Description) {
	line := func(what, text string) {
		if text != "" {
			fmt.Fprintf(a.out, "  %-11s %s\n", what, text)
		}
	}
	fmt.Fprintf(a.out, "%s: %s, %s\n", d.File, d.Kind, plan.SizeText(d.Bytes))
	profile, stands, resolution := d.Profile, "", ""
	if d.Width > 0 {
		kind := "bits"
		if d.Float {
			kind = "bits, floating point"
		}
		line("picture", fmt.Sprintf("%d x %d px, %s, %d %s", d.Width, d.Height, d.Colour, d.Bits, kind))
		profile = cmp.Or(profile, "none")
		resolution, stands = "none stated", "upright"
		if d.PPI != "" {
			resolution = d.PPI + " ppi stated (a print's size is the recipe's matter)"
		}
		if d.Orientation > 1 {
			stands = fmt.Sprintf("%s (orientation %d); it is turned upright when it is read", turns[d.Orientation], d.Orientation)
		}
	}
	line("stored", d.Stored)
	line("depth", d.Depth)
	if d.Neutral {
		line("colour", "none: red, green and blue are equal everywhere")
	}
	line("profile", profile)
	if d.Class != "" {
		line("kind", d.Colour+", "+d.Class)
	}
	line("white", d.White)
	line("black", d.Black)
	line("intents", d.Intents)
	line("gamut", d.Gamut)
	line("use", d.Use)
	line("says", d.Says)
	line("resolution", resolution)
	line("stands", stands)
	line("alpha", d.Alpha)
	for _, s := range d.Sizes {
		line(fmt.Sprintf("at %d ppi", s.PPI), fmt.Sprintf("%s x %s in, %s x %s cm", s.WidthIn, s.HeightIn, s.WidthCM, s.HeightCM))
	}
	for _, o := range d.Others {
		line("also holds", o+", not used")
	}
	for _, w := range d.Warnings {
		line("warning", w)
	}
	line("refused", d.Refused)
	for _, n := range d.Needs {
		line("needs", n)
	}
	line("in a recipe", d.Recipe)
}
