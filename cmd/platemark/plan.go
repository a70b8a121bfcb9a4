package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"platemark/cmd/platemark/view"
	"platemark/interp"
	"platemark/interp/disk"
	"platemark/interp/inspect"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/interp/proof"
	"platemark/lang"
	"platemark/ops/exact"
)

type planCmd struct {
	Recipes []string `arg:"" name:"recipe" help:"Recipe files." type:"readablefile"`
	Print   []string `help:"Only the print or sheet of this name (may be repeated)." placeholder:"NAME"`
	Out     string   `help:"Folder for the print files, as for build." placeholder:"FOLDER"`
	Force   bool     `help:"Plan to replace prints that exist; replace the picture."`
	Picture string   `help:"Draw one print small with each mask over it in a hatch of its own, as a PNG file." placeholder:"FILE"`
	Mark    bool     `help:"Also say the marks of prints whose inputs aren't pinned, for which all bytes are read; --json always does."`
	JSON    bool     `help:"Say the plan as JSON."`
	workersFlag
}

func (planCmd) Help() string {
	return `Says what a build would do before any pixel is computed: each step with its picture, the face and file sizes, how many pixels an inch the master itself has at that size, what each mask covers, and the memory and time to expect.

Examples:
  platemark plan salt-road.recipe
  platemark plan salt-road.recipe --print large --picture masks.png`
}

// planRow is one print's plan as data.
type planRow struct {
	Recipe    string             `json:"recipe"`
	Print     string             `json:"print"`
	Language  string             `json:"language"`
	Mark      string             `json:"mark"`
	File      string             `json:"file"`
	Format    string             `json:"format"`
	Width     int                `json:"width"`
	Height    int                `json:"height"`
	FaceW     string             `json:"face-width-in"`
	FaceH     string             `json:"face-height-in"`
	Sizes     plan.Sizes         `json:"sizes"`
	PPI       string             `json:"ppi"`
	Effective string             `json:"effective-ppi,omitempty"`
	SharpFrom string             `json:"sharp-from-m,omitempty"`
	Bytes     int64              `json:"bytes"`
	Exact     bool               `json:"bytes-exact"`
	Likely    int64              `json:"bytes-likely"`
	Memory    int64              `json:"memory"`
	Seconds   int64              `json:"seconds"`
	Steps     []planStep         `json:"steps"`
	Masks     []interp.MaskCover `json:"masks"`
	Spots     []interp.SpotLook  `json:"spots"`
	Workers   int                `json:"workers"`
	Kept      []plan.Kept        `json:"kept"`
	Pieces    []planPiece        `json:"pieces"`
}

// planPiece is a piece of the language that the print depends on.
type planPiece struct {
	Piece  string `json:"piece"`
	Line   int    `json:"line"`
	Frozen bool   `json:"frozen"`
}

type planStep struct {
	Line      int    `json:"line"`
	Text      string `json:"text"`
	Operation string `json:"operation"`
	Version   int    `json:"version"`
	Width     int    `json:"width"`
	Height    int    `json:"height"`
	Channels  int    `json:"channels"`
	Profile   string `json:"profile,omitempty"`
	more      int    // spots of the run beside that of the line
}

func (c *planCmd) Run(a *app) error {
	failed := false
	rows := []planRow{}
	if c.Picture != "" && len(c.Recipes) != 1 {
		return usageError{"--picture draws one print of one recipe"}
	}
	if err := ending("--picture", c.Picture, ".png"); err != nil {
		return err
	}
	for _, file := range c.Recipes {
		j, err := interp.Load(a.ctx, file, interp.LoadOptions{Prints: c.Print, Out: c.Out, Force: c.Force, Look: true, Masks: true, Shares: true, Spots: true, Heads: !c.Mark && !c.JSON})
		if err != nil {
			return err
		}
		a.problems(j.Source, j.Diags, lang.Note)
		failed = failed || j.Failed()
		if c.Picture != "" && len(j.Plans) > 1 {
			return usageError{"the recipe has several prints: name the one to draw with --print"}
		}
		for _, p := range j.Plans {
			r := planRowOf(file, j, p, j.OutPath(p, c.Out), c.n())
			rows = append(rows, r)
			if !c.JSON {
				a.tellPlan(p, r, c.n())
			}
			if c.Picture != "" {
				if err := c.draw(a, j, p); err != nil {
					return err
				}
			}
		}
		j.Close()
	}
	return a.end(c.JSON, rows, failed)
}

// draw writes the picture of a print's masks.
func (c *planCmd) draw(a *app, j *interp.Job, p *plan.Print) error {
	if err := j.NotInput(c.Picture); err != nil {
		return err
	}
	m, err := proof.DrawMasks(a.ctx, j, p, 1400, c.n())
	if err != nil {
		return err
	}
	b, err := view.Masks(m)
	if err != nil {
		return err
	}
	if err := disk.Write(c.Picture, b, c.Force); err != nil {
		return err
	}
	if !c.JSON {
		fmt.Fprintf(a.out, "  look at %s\n", c.Picture)
	}
	return nil
}

func planRowOf(recipe string, j *interp.Job, p *plan.Print, out string, workers int) planRow {
	e, z := p.Estimate(workers), p.Sizes()
	r := planRow{Recipe: recipe, Print: p.Name, Language: j.Language(), Mark: p.Mark.String(),
		File: out, Format: p.File.Format, Width: z.Whole.W, Height: z.Whole.H,
		FaceW: p.Face.W.RatString(), FaceH: p.Face.H.RatString(), Sizes: z, PPI: p.Face.PPI.RatString(),
		Bytes: e.Largest, Exact: e.Exact, Likely: e.Likely, Memory: e.Memory, Seconds: int64(e.Time.Round(time.Second) / time.Second), Workers: e.Workers,
		Kept: append([]plan.Kept{}, e.Kept...), Steps: []planStep{}, Masks: append([]interp.MaskCover{}, j.Masks[p]...), Spots: append([]interp.SpotLook{}, j.Spots[p]...)}
	if !p.Sheet { // whose prints have each their own
		ppi, _ := p.Face.Effective.Float64()
		r.Effective, r.SharpFrom = p.Face.Effective.FloatString(1), fmt.Sprintf("%.1f", inspect.SharpFrom(ppi/25.4)/1000)
	}
	for _, u := range p.Pieces {
		r.Pieces = append(r.Pieces, planPiece{u.Piece, u.Line, len(lang.Drafts([]lang.Use{u})) == 0})
	}
	for _, k := range p.Steps() {
		n := p.Nodes[k]
		s := planStep{Line: n.Line, Text: n.Text, Operation: n.Op, Version: n.Ver, Width: n.Pic.W, Height: n.Pic.H, Channels: n.Pic.C}
		if n.Pic.Profile != nil {
			s.Profile = n.Pic.Profile.Description()
		}
		if n.Op == "spots" {
			s.more = len(n.Args.All("spot")) - 1
		}
		r.Steps = append(r.Steps, s)
	}
	return r
}

func (a *app) tellPlan(p *plan.Print, r planRow, workers int) {
	line := func(what, format string, v ...any) {
		fmt.Fprintf(a.out, "  %-9s  %s\n", what, fmt.Sprintf(format, v...))
	}
	kind := "print"
	if p.Sheet {
		kind = "sheet"
	}
	fmt.Fprintf(a.out, "%s %s", kind, p.Name)
	if !slices.ContainsFunc(p.Inputs, func(in *master.Input) bool { return !in.Hashed }) {
		fmt.Fprintf(a.out, "  (mark %s)", p.MarkShort())
	}
	fmt.Fprintln(a.out)
	line("language", "%s: %s", r.Language, p.Operations())
	line("frozen", "%s", frozenText(r.Pieces))
	line("picture", "%s, at %s ppi", r.Sizes.Picture, exact.Decimals(p.Face.PPI, 2))
	line("face", "%s", r.Sizes.Face)
	for _, in := range p.Inputs {
		what := ""
		if in.Picture != nil {
			i := in.Picture.Info()
			what = fmt.Sprintf(", %d x %d px, %d bits", i.W, i.H, i.Bits)
		} else if in.Profile != nil {
			what = ", " + in.Profile.Description()
		}
		line(string(in.Role), "%s%s", in.Path, what)
	}
	if r.Effective != "" {
		line("effective", "%s pixels an inch of the master's own at this size: looks sharp from %s m", r.Effective, r.SharpFrom)
	}
	how := fmt.Sprintf("%d bits", p.File.Bits)
	if p.File.Format == "jpeg" {
		chroma := "full"
		if p.File.Half {
			chroma = "half"
		}
		how = fmt.Sprintf("quality %d, chroma %s", p.File.Quality, chroma)
	}
	size := "about " + plan.SizeText(r.Likely) + " (noise: up to " + plan.SizeText(r.Bytes) + ")"
	if r.Exact {
		size = plan.SizeText(r.Bytes)
	}
	line("file", "%s, %s, %s, %s, %s", r.File, r.Sizes.Whole, r.Format, how, size)
	for _, k := range r.Kept {
		what, where := fmt.Sprintf("the picture of line %d", k.Line), "in memory"
		if k.Line == 0 {
			what = "the upright master"
		}
		if k.InFile {
			where = "in a temporary file"
		}
		line("keeps", "%s, %s, %s", what, plan.SizeText(k.Bytes), where)
	}
	length := "under a second"
	if r.Seconds > 0 {
		length = "about " + (time.Duration(r.Seconds) * time.Second).String()
	}
	on := lang.Count(workers, "processor")
	if r.Workers < workers {
		on = fmt.Sprintf("%d of %s", r.Workers, on)
	}
	line("needs", "at most %s of memory and %s on %s", plan.SizeText(r.Memory), length, on)
	if len(r.Masks) > 0 {
		fmt.Fprintln(a.out, "  masks")
		a.tellMasks(r.Masks)
	}
	a.tellSpots(r.Spots)
	fmt.Fprintln(a.out, "  steps")
	for _, s := range r.Steps {
		number, text := "", s.Text
		if s.Line > 0 {
			number = fmt.Sprint(s.Line)
		}
		switch s.Operation {
		case "mask":
			text = "draw " + strings.TrimSuffix(text, " {")
		case "spots":
			if s.more > 0 {
				text += fmt.Sprintf(" (and %d more)", s.more)
			}
		}
		fmt.Fprintf(a.out, "    %5s  %-58s %6d x %-6d %s\n", number, cutText(text, 58), s.Width, s.Height, s.Profile)
	}
}

// frozenText says how far the pieces of the language that a print uses are frozen,
// and which are drafts where those are few.
func frozenText(pieces []planPiece) string {
	var drafts []string
	for _, p := range pieces {
		if !p.Frozen {
			drafts = append(drafts, fmt.Sprintf("%s (line %d)", p.Piece, p.Line))
		}
	}
	n := len(pieces)
	switch d := len(drafts); {
	case d == n:
		return fmt.Sprintf("none of the %d pieces of the language that it uses: they may still change", n)
	case d == 0:
		return fmt.Sprintf("all %d pieces of the language that it uses: it needs no `draft`", n)
	default:
		return fmt.Sprintf("%d of the %d pieces of the language that it uses; drafts: %s", n-d, n, strings.Join(drafts, ", "))
	}
}

func (a *app) tellMasks(list []interp.MaskCover) {
	for _, m := range list {
		fmt.Fprintf(a.out, "    %5d  %s covers %s of the frame, %s of the print\n", m.Line, m.Name, interp.ShareText(m.Frame), interp.ShareText(m.Print))
	}
}

// spotsTold is how many spots of a print are listed; JSON has all.
const spotsTold = 20

// tellSpots lists how spots stand out of the noise around them.
func (a *app) tellSpots(list []interp.SpotLook) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintln(a.out, "  spots")
	for _, s := range list[:min(len(list), spotsTold)] {
		fmt.Fprintf(a.out, "    %5d  contrast %s, noise around it %s\n", s.Line, interp.PercentText(s.Contrast), interp.PercentText(s.Noise))
	}
	if n := len(list) - spotsTold; n > 0 {
		fmt.Fprintf(a.out, "           and %d more\n", n)
	}
}
