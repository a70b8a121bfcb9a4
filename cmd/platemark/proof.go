package main

import (
	"bytes"
	"cmp"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"platemark/cmd/platemark/view"
	"platemark/interp"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/proof"
	"platemark/ops/colour"
)

type proofCmd struct {
	Recipe  string   `arg:"" help:"The recipe." type:"readablefile"`
	Print   []string `help:"Only the print of this name (may be repeated). Without it: every print that is on a paper." placeholder:"NAME"`
	Paper   []string `help:"Show it on this paper of the recipe (may be repeated, to choose by the figures); without it, on the print's own." placeholder:"NAME"`
	Section string   `help:"Only this part of a print, in its pixels from the left upper corner, at 100 %." placeholder:"X,Y,W,H"`
	Display string   `help:"The screen's profile (default: an sRGB screen)." placeholder:"FILE.icc" type:"readablefile"`
	Fit     bool     `help:"Propose the tone block that brings the print on the paper closest to what was meant, with the figures before and after."`
	Write   bool     `help:"With --fit: put the block into the recipe; nothing else in it is touched."`
	Out     string   `help:"Folder for the page and its pictures (default: the recipe's name with .proof)." placeholder:"FOLDER"`
	Force   bool     `help:"Replace pages and pictures that exist."`
	JSON    bool     `help:"Say the figures as JSON."`
	workersFlag
}

func (proofCmd) Help() string {
	return `Shows on the screen what a paper and its inks will do: a page with the picture as meant and as each paper will show it, paper white and black as they are, what can't be printed and why, figures, and the places that change most, each for another reason. As meant is the print without the tone blocks for a paper. The page needs no network; the pictures also lie beside it as PNG files. A soft proof doesn't replace a hard one.

--fit looks for exposure, contrast, warmth, chroma and muted chroma of a "tone for PAPER" block at the end of prepare. Differences are compared relative to the paper's white, which no tone can mend. Greys stay grey; steps of highlights or shadows, and colours that can be printed, are given up for a large gain only, and it says which. Where that holds it back by more than a twentieth, it shows what would come closer yet. What it proposes is ordinary recipe text: the last word is yours.

Examples:
  platemark proof salt-road.recipe
  platemark proof salt-road.recipe --paper baryta --paper rag
  platemark proof salt-road.recipe --print large --section 9000,6000,1200,800
  platemark proof salt-road.recipe --paper rag --fit --write`
}

func (c *proofCmd) Run(a *app) error {
	if c.Write && !c.Fit {
		return usageError{"--write goes with --fit"}
	}
	if c.Fit && (c.Section != "" || c.Display != "" || c.Out != "") {
		return usageError{"--fit proposes a block and writes no page; leave --section, --display and --out out"}
	}
	o := proof.Options{Papers: c.Paper, Workers: c.n()}
	var err error
	if o.Section, err = parseSection(c.Section); err != nil {
		return err
	}
	var icc []byte
	if c.Display != "" {
		if icc, err = disk.Read(c.Display, master.MaxProfile); err == nil {
			o.Display, err = colour.Parse(icc)
		}
		if err != nil {
			return fmt.Errorf("the display's profile %s can't be used: %w", c.Display, disk.PlainError(err))
		}
	}
	j, err := a.load(c.Recipe, interp.LoadOptions{Prints: c.Print, NoOutputs: true, NoSheets: true})
	if err != nil {
		return err
	}
	defer j.Close()
	prints, err := c.prints(j)
	if err != nil {
		return err
	}
	o.Progress = a.bar.tell
	return c.work(a, j, prints, o, icc)
}

// prints are the names of the prints to show.
func (c *proofCmd) prints(j *interp.Job) ([]string, error) {
	if len(c.Print) > 0 {
		for _, p := range j.Plans {
			if p.Sheet {
				return nil, usageError{p.Name + " is a sheet of proofs already; name a print that it shows"}
			}
		}
		return c.Print, nil
	}
	var on, all []string
	for _, p := range j.Recipe.Prints {
		if p.Sheet != nil {
			continue
		}
		all = append(all, p.Name.Value)
		if p.On != nil {
			on = append(on, p.Name.Value)
		}
	}
	switch {
	case len(on) > 0:
		return on, nil
	case len(all) == 1:
		return all, nil
	}
	return nil, usageError{fmt.Sprintf("no print of %s is on a paper: name one with --print; there is: %s", c.Recipe, strings.Join(all, ", "))}
}

func (c *proofCmd) work(a *app, j *interp.Job, prints []string, o proof.Options, icc []byte) error {
	if c.Fit {
		if len(prints) != 1 {
			return usageError{"a block is fitted to one print: name it with --print; there is: " + strings.Join(prints, ", ")}
		}
		list, text, err := proof.Fit(a.ctx, j, prints[0], o)
		if err != nil {
			return err
		}
		return c.fitted(a, j, list, text)
	}
	out := cmp.Or(c.Out, strings.TrimSuffix(c.Recipe, ".recipe")+".proof")
	part := ""
	if c.Section != "" {
		part = fmt.Sprintf("-section-%d-%d-%d-%d", o.Section[0], o.Section[1], o.Section[2], o.Section[3])
	}
	pageOf := func(print string) string { return filepath.Join(out, print+part+".html") }
	// Asked before anything is computed, and again when files are written.
	for _, print := range prints {
		if err := free(pageOf(print), c.Force, "another folder"); err != nil {
			return err
		}
	}
	sheet := view.ProofPage{Recipe: filepath.Base(c.Recipe), ICC: icc}
	if t := j.Recipe.Title; t != nil {
		sheet.Title = t.Value
	}
	if o.Display != nil {
		sheet.Screen = cmp.Or(o.Display.Description(), filepath.Base(c.Display))
	}
	var rows []proofRow
	for _, print := range prints {
		pr, err := proof.Make(a.ctx, j, print, o)
		if err != nil {
			return err
		}
		sheet.Proof, sheet.Made, sheet.Name = pr, time.Now(), print+part
		var b bytes.Buffer
		files, err := view.WriteProof(&b, sheet)
		if err != nil {
			return err
		}
		page := pageOf(print)
		for _, f := range append(files, view.File{Name: filepath.Base(page), Data: b.Bytes()}) {
			to := filepath.Join(out, f.Name)
			if err := j.NotInput(to); err != nil {
				return err
			}
			if err := disk.Write(to, f.Data, c.Force); err != nil {
				return err
			}
		}
		for _, q := range pr.Papers {
			rows = append(rows, proofRow{print, q.Paper, q.Profile, page, figuresJSON(q.Figures)})
		}
		if !c.JSON {
			a.tellProof(pr, page)
		}
	}
	return a.end(c.JSON, rows, false)
}

func (a *app) tellProof(p *proof.Proof, page string) {
	fmt.Fprintf(a.out, "print %s\n", p.Print)
	for _, q := range p.Papers {
		fmt.Fprintf(a.out, "  on %s: %s\n", q.Paper, figuresText(q.Figures))
	}
	fmt.Fprintf(a.out, "  look at %s\n", page)
}

// figuresText is what a paper does to a picture, on one line.
func figuresText(f proof.Figures) string {
	share, dark, colourful := f.Parts(1)
	return fmt.Sprintf("mean difference %.2f, 95 %% under %.2f, largest %.2f; %.1f %% can't be printed (%.1f %% too dark, %.1f %% too colourful); steps lost: %d of %d light, %d of %d dark; greys tinted by %.2f",
		f.Mean, f.P95, f.Largest, share, dark, colourful, f.Highlights.Lost, f.Highlights.Of, f.Shadows.Lost, f.Shadows.Of, f.Grey)
}

// fitted says what was found and writes it where asked.
func (c *proofCmd) fitted(a *app, j *interp.Job, list []proof.Fitted, text []byte) error {
	if c.Write {
		if err := proof.WriteFit(j, text); err != nil {
			return err
		}
	}
	if c.JSON {
		rows := []fittedRow{}
		for _, f := range list {
			row := fittedRow{Paper: f.Paper, Block: f.Block, Before: figuresJSON(f.Before), After: figuresJSON(f.After), Costs: append([]string{}, f.Costs...)}
			if c := f.Free; c != nil {
				row.Closer = &closerRow{c.Block, figuresJSON(c.After), append([]string{}, c.Costs...)}
			}
			rows = append(rows, row)
		}
		return a.json(rows)
	}
	found := false
	for _, f := range list {
		if f.Block == nil {
			none := "no block brings it closer than it is"
			if f.Free != nil {
				none = "no block is worth what it costs"
			}
			fmt.Fprintf(a.out, "paper %s: %s\n  %s\n", f.Paper, none, figuresText(f.Before))
			a.closer(f.Free)
			continue
		}
		found = true
		fmt.Fprintf(a.out, "%s\n", strings.Join(f.Block, "\n"))
		if len(f.Kept) > 0 {
			fmt.Fprintf(a.out, "  beside the recipe's own: %s\n", strings.Join(f.Kept, ", "))
		}
		fmt.Fprintf(a.out, "  without  %s\n  with it  %s\n", figuresText(f.Before), figuresText(f.After))
		if len(f.Costs) > 0 {
			fmt.Fprintf(a.out, "  it costs: %s\n", strings.Join(f.Costs, "; "))
		}
		a.closer(f.Free)
	}
	switch {
	case found && c.Write:
		fmt.Fprintf(a.out, "written into prepare of %s; change it as you like\n", c.Recipe)
	case found:
		fmt.Fprintln(a.out, "to put it into the recipe, add --write")
	}
	return nil
}

// closer shows what a fit was held back from.
func (a *app) closer(c *proof.Freely) {
	if c == nil {
		return
	}
	fmt.Fprintf(a.out, "  closer yet, a mean difference of %.2f, but held back: %s\n%s\n", c.After.Mean, strings.Join(c.Costs, "; "), strings.Join(c.Block, "\n"))
}

// proofRow is what a paper does to a print, as data.
type proofRow struct {
	Print   string `json:"print"`
	Paper   string `json:"paper"`
	Profile string `json:"profile"`
	Page    string `json:"page"`
	proofFigures
}

// fittedRow is a proposed block as data.
type fittedRow struct {
	Paper  string       `json:"paper"`
	Block  []string     `json:"block"`
	Before proofFigures `json:"before"`
	After  proofFigures `json:"after"`
	Costs  []string     `json:"costs"`
	Closer *closerRow   `json:"closer,omitempty"` // what would come closer yet
}

// closerRow is a block that a fit was held back from.
type closerRow struct {
	Block []string     `json:"block"`
	After proofFigures `json:"after"`
	Costs []string     `json:"costs"`
}

type proofFigures struct {
	Share      float64 `json:"cannot-be-printed"`
	Dark       float64 `json:"too-dark"`
	Colourful  float64 `json:"too-colourful"`
	Mean       float64 `json:"mean"`
	P95        float64 `json:"p95"`
	Largest    float64 `json:"largest"`
	Highlights int     `json:"highlight-steps-lost"`
	Shadows    int     `json:"shadow-steps-lost"`
	Grey       float64 `json:"grey-chroma"`
}

func figuresJSON(f proof.Figures) proofFigures {
	return proofFigures{f.Share, f.TooDark, f.TooColourful, f.Mean, f.P95, f.Largest, f.Highlights.Lost, f.Shadows.Lost, f.Grey}
}
