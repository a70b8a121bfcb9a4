package main

import (
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"platemark/interp"
	"platemark/interp/plan"
	"platemark/interp/retouch"
	"platemark/interp/sign"
	"platemark/lang"
)

type buildCmd struct {
	Recipes []string `arg:"" name:"recipe" help:"Recipe files." type:"readablefile"`
	Print   []string `help:"Only the print or sheet of this name (may be repeated)." placeholder:"NAME"`
	Out     string   `help:"Folder for the print files and their logs, instead of where the recipe says." placeholder:"FOLDER"`
	Force   bool     `help:"Replace prints that exist, which a log beside each tells from other files. Audit logs are never replaced."`
	Resume  bool     `help:"Take up an order again: prints that are finished, of the same mark and byte for byte as their log says, aren't built again. Several recipes always work so."`
	Section string   `help:"Only this part of one print, in its pixels from the left upper corner, as a TIFF with the samples that the whole has there." placeholder:"X,Y,W,H"`
	Upto    int      `help:"The picture after this recipe line (or a mask, by a line of it), as a TIFF." placeholder:"LINE"`
	PDF     bool     `help:"Also write a PDF beside each file, which shows it at its true size: for printing at home. (Not for orders.)"`
	Client  bool     `name:"for-client" help:"With an order and --out: also write client.html and client.pdf, without technical lines."`
	Inspect bool     `help:"Look over the finished pixels of each print first, as inspect does: where something is seen that isn't dismissed, the print fails."`
	JSON    bool     `help:"Say the result as JSON."`
	keepFlag
	signFlag
	lookInFlag
	workersFlag
}

func (buildCmd) Help() string {
	return `A print file gets its name only when it is complete; beside it lies FILE.MARK.audit.jsonl, from which it can be made again. Nothing that exists is overwritten without --force; with it, what stands at a print's name is replaced only where a log beside it says that it is a print.

Several recipes are an order: first one plan of all, with every input, every output name and the room on the disk; then the prints, masters that recipes share being read once; a table at the end, and in the folder given by --out order.csv, order.html and order.pdf, which go with the files to the lab. Sheets of proofs are left out unless --print names them. A print that fails stops no other. A print that is there already, of the same mark and with the bytes that its log records, isn't built again, so that an order that was cut off is taken up by the same command; --resume does the same for one recipe, which is otherwise refused where its files exist. --force builds everything again.

--sign KEY signs each log that is written, as LOG.sig in the format of ` + "`ssh-keygen -Y sign -n platemark-log`" + `, which also signs a log that is there already. The digests of a log show a slip; a signature shows that nobody else wrote it.

Inputs that were moved or renamed are found below --look-in FOLDER by the digests that the inputs block of the recipe holds (platemark pin), or a log beside its prints.

With --inspect a print in which dust, a hot pixel, a hair or a fringe is still seen isn't built, since a file that was sent can't be called back; one that is there already fails, too. The others are built. What is looked over is computed for that, so an order takes about twice as long.

--keep-steps SIZE, as 20GB, keeps finished pictures in your cache folder (platemark/steps in it), so that building again goes on from there where only later lines changed: of each print what prepare leaves, and what its sharpening starts from behind the enlargements. All of it takes SIZE at most; what was used longest ago goes first. Files and logs come out the same; only the run record at a log's end says what was taken. A kept picture is checked by its fingerprints before it is used, and serves the very program that made it. Each takes 6 bytes a pixel. You may delete the folder at any time.

Examples:
  platemark build salt-road.recipe
  platemark build salt-road.recipe --print large --force --keep-steps 20GB
  platemark build salt-road.recipe --print small
  platemark build salt-road.recipe --print trial --pdf
  platemark build salt-road.recipe --print large --section 9000,6000,2400,1800
  platemark build *.recipe --out order-17 --inspect --sign ~/.ssh/id_ed25519`
}

func (c *buildCmd) Run(a *app) error {
	part := c.Section != "" || c.Upto != 0
	if part && len(c.Recipes) != 1 {
		return usageError{"--section and --upto work on one recipe"}
	}
	rect, err := parseSection(c.Section)
	switch {
	case err != nil:
		return err
	case part && c.Resume:
		return usageError{"--resume is for whole prints"}
	case part && c.PDF:
		return usageError{"--pdf is for whole prints and sheets"}
	case c.PDF && (len(c.Recipes) > 1 || c.Resume):
		return usageError{"--pdf is for one recipe: labs print the files themselves"}
	case c.Client && (len(c.Recipes) < 2 && !c.Resume || c.Out == ""):
		return usageError{"--for-client is for an order: several recipes, or one with --resume, and --out FOLDER"}
	case part && c.Sign != "":
		return usageError{"--sign signs logs, and parts of a print have none"}
	case part && c.KeepSteps > 0:
		return usageError{"--keep-steps is for whole prints"}
	case part && c.Inspect:
		return usageError{"--inspect is for whole prints"}
	case len(c.Recipes) > 1 || c.Resume:
		return c.order(a)
	}
	key, err := c.key(a)
	if err != nil {
		return err
	}
	ahead := c.n()
	if part || c.KeepSteps > 0 { // which may need no master
		ahead = 0
	}
	j, err := a.load(c.Recipes[0], interp.LoadOptions{Prints: c.Print, Out: c.Out, Force: c.Force, Upto: c.Upto, NoOutputs: part, Masks: !part, LookIn: c.LookIn, Ahead: ahead})
	if err != nil {
		return err
	}
	defer j.Close()
	if part {
		return c.part(a, j, rect, key)
	}
	a.staleOf(j)
	return c.whole(a, j, key)
}

func (c *buildCmd) whole(a *app, j *interp.Job, key *sign.Key) error {
	if c.PDF {
		if err := c.pdfsAbsent(j); err != nil {
			return err
		}
	}
	o, err := c.options(a, key)
	if err != nil {
		return err
	}
	built, err := interp.Build(a.ctx, j, o)
	if !c.JSON {
		a.tellBuilt(built...)
	}
	if err != nil {
		return err
	}
	if c.PDF {
		if err := c.pdfs(a, j, built); err != nil {
			return err
		}
	}
	return a.end(c.JSON, builtJSON(built...), false)
}

func (c *buildCmd) options(a *app, key *sign.Key) (o interp.BuildOptions, err error) {
	o = interp.BuildOptions{Workers: c.n(), Out: c.Out, Force: c.Force, Sign: key, Progress: a.bar.tell}
	if c.Inspect {
		o.Before = retouch.Clean
	}
	o.Keeping, err = c.keeping(a)
	return o, err
}

// load reads a recipe that is to be built; see loaded.
func (a *app) load(file string, o interp.LoadOptions) (*interp.Job, error) {
	return a.loaded(interp.Load(a.ctx, file, o))
}

// loaded says what is wrong with the recipes of a job that is to be built.
func (a *app) loaded(j *interp.Job, err error) (*interp.Job, error) {
	if err != nil {
		return nil, err
	}
	for _, k := range append([]*interp.Job{j}, j.Others...) {
		a.tellElsewhere(k.Elsewhere)
		a.problems(k.Source, k.Diags, lang.Warning)
	}
	if j.Failed() {
		j.Close()
		return nil, errRefused
	}
	return j, nil
}

// part builds a section or a picture between.
func (c *buildCmd) part(a *app, j *interp.Job, r [4]int, key *sign.Key) error {
	o, err := c.options(a, key)
	if err != nil {
		return err
	}
	if len(j.Plans) != 1 {
		if c.Section != "" {
			return usageError{"the recipe has several prints: name one with --print"}
		}
		j.Plans = j.Plans[:1]
	}
	var name []string
	if c.Upto != 0 {
		name = append(name, fmt.Sprintf("line-%d", c.Upto))
	}
	if c.Section != "" {
		name = append(name, fmt.Sprintf("section-%d-%d-%d-%d", r[0], r[1], r[2], r[3]))
	}
	p := j.Plans[0]
	b, err := interp.Section(a.ctx, j, p, r[0], r[1], r[2], r[3], interp.PartName(j.OutPath(p, c.Out), strings.Join(name, "-")), o)
	if err != nil {
		return err
	}
	if !c.JSON {
		fmt.Fprintf(a.out, "%s  %d x %d px, TIFF 16 bits\n", b.File, b.W, b.H)
	}
	return a.end(c.JSON, builtJSON(*b), false)
}

// parseSection reads X,Y,W,H; an empty text is no section.
func parseSection(text string) (r [4]int, err error) {
	if text == "" {
		return r, nil
	}
	wrong := func(what string) error {
		return usageError{fmt.Sprintf("--section takes four whole numbers, as 9000,6000,2400,1800; %s", what)}
	}
	f := strings.Split(text, ",")
	if len(f) != 4 {
		return r, wrong(fmt.Sprintf("%q isn't", text))
	}
	for i, s := range f {
		if r[i], err = strconv.Atoi(strings.TrimSpace(s)); err != nil {
			return r, wrong(fmt.Sprintf("%q isn't one", s))
		}
		if r[i] < 0 {
			return r, wrong(fmt.Sprintf("%s is below 0", s))
		}
	}
	if r[2] < 1 || r[3] < 1 {
		return r, usageError{"a section is at least one pixel wide and high"}
	}
	return r, nil
}

func (a *app) tellBuilt(all ...interp.Built) {
	for _, b := range all {
		fmt.Fprintf(a.out, "%s\n    %d x %d px, %s, in %s\n    sha256 %s\n    mark   %s   log %s\n", b.File, b.W, b.H, plan.SizeText(b.Size), b.Wall.Round(10*time.Millisecond), b.Sum, b.Mark.String()[:12], filepath.Base(b.Log))
		a.tellSignature(b)
		a.tellWarnings(b)
		if b.Repeat {
			fmt.Fprintln(a.out, "    the same bytes as an older log records")
		}
	}
}

func (a *app) tellSignature(b interp.Built) {
	if b.Signature.Signed {
		fmt.Fprintf(a.out, "    signed with the key %s\n", b.Signature.Key)
	}
}

// tellWarnings says what was found in the samples while a print was built.
func (a *app) tellWarnings(b interp.Built) {
	for _, w := range b.Warnings {
		fmt.Fprintf(a.out, "    warning: %s\n", w)
	}
}

func builtJSON(all ...interp.Built) any {
	type row struct {
		Print  string `json:"print"`
		File   string `json:"file"`
		Log    string `json:"log,omitempty"`
		Size   int64  `json:"size"`
		SHA256 string `json:"sha256"`
		Mark   string `json:"mark,omitempty"`
		Key    string `json:"signed-with,omitempty"`
		Width  int    `json:"width"`
		Height int    `json:"height"`
	}
	rows := []row{}
	for _, b := range all {
		r := row{b.Print, b.File, b.Log, b.Size, b.Sum.String(), b.Mark.String(), b.Signature.Key, b.W, b.H}
		if b.Log == "" {
			r.Mark = ""
		}
		rows = append(rows, r)
	}
	return rows
}
