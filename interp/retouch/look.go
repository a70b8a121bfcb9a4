// Package retouch makes of what inspect finds in a picture a recipe's matter: the
// lines that mend it, whether they are there already, and what was dismissed.
package retouch

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/big"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/interp/inspect"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops/codec/tiff"
	"platemark/ops/raster"
)

// Options say what is looked over, and how it is looked at.
type Options struct {
	// Print names the print whose finished pixels are looked over; "" means the
	// master, as the lines at the head of prepare leave it.
	Print string
	// From is the distance in mm, 0 for the diagonal of the print.
	From    float64
	Workers int
	// Progress, if set, is called from several goroutines.
	Progress func(stage string, done, due int64)
}

// A Look is what was found in a picture.
type Look struct {
	*inspect.Report
	Finds []Find  // the most visible first
	Print string  // whose finished pixels these are, "" for the master
	From  float64 // mm from which the largest print, or this one, is seen

	job    *interp.Job
	recipe *lang.Recipe // the job's or, once finds were taken, that of the new text
	source []byte
	own    *interp.Session // to be closed with it, nil where it is another's
	s      *interp.Session
	plan   *plan.Print
	node   int // what is looked over
	head   int // the master, as the head of prepare leaves it: what the frame holds
	frame  frame
	as     inspect.Viewing
}

// Find is one thing found. Numbers are the same for one picture, whatever print
// and distance it is looked at for.
type Find struct {
	inspect.Find
	Number int
	X, Y   string   // of its middle, % of the frame
	Lines  []string // of prepare, which mend it; none where no line does
	// Line is that of the recipe which mends it already, 0 for none.
	Line      int
	Dismissed bool
}

// Open says whether a find is seen and waits to be mended or dismissed.
func (f Find) Open() bool { return f.Seen >= 1 && f.Line == 0 && !f.Dismissed }

// Visible are the finds that are seen, and neither mended nor dismissed.
func (l *Look) Visible() []Find {
	return slices.DeleteFunc(slices.Clone(l.Finds), func(f Find) bool { return !f.Open() })
}

// IsRecipe says whether a file is a recipe: by its name, else by its first word.
func IsRecipe(file string) bool {
	if strings.HasSuffix(file, ".recipe") {
		return true
	}
	b, err := interp.ReadRecipe(file)
	if err != nil {
		return false
	}
	s, _ := lang.ReadSource("", b)
	return len(s.Top.Lines) > 0 && s.Top.Lines[0].Tokens[0].Value == "recipe"
}

// Load plans a recipe, or a picture as if it were a master, at 300 ppi. The caller
// closes the job. assumed is the space of a picture that says none.
func Load(ctx context.Context, file string, o Options) (j *interp.Job, assumed string, err error) {
	lo := interp.LoadOptions{NoOutputs: true, NoSheets: true}
	if o.Print != "" {
		lo.Prints = []string{o.Print}
	}
	if IsRecipe(file) {
		j, err = interp.Load(ctx, file, lo)
		return j, "", err
	}
	in, err := master.Glance(ctx, master.RoleMaster, file, file, false)
	if err != nil {
		return nil, "", fmt.Errorf("%s can't be inspected: %w", file, err)
	}
	info := in.Picture.Info()
	in.Close()
	name := filepath.Base(file)
	line := "master " + master.Quote(name)
	if info.ICC == nil {
		if assumed, _ = master.Untagged(info.Channels, info.Bits, ""); assumed == "" {
			assumed = "sRGB"
		}
		line = master.RecipeLine("master", name, assumed)
	}
	if info.Alpha != "" && info.Alpha != tiff.AlphaNone {
		line += " on white"
	}
	w := info.W
	if info.Orientation >= 5 {
		w = info.H
	}
	text := fmt.Sprintf("recipe 1 draft\n%s\nprint own {\n    size %d px wide at 300 ppi\n    save tiff \"own.tif\"\n}\n", line, w)
	j, err = interp.LoadText(ctx, "", filepath.Dir(file), []byte(text), lo)
	return j, assumed, err
}

// Over looks over the master or a print of a job, which stays the caller's.
func Over(ctx context.Context, j *interp.Job, o Options) (*Look, error) {
	s := interp.NewSession(o.Workers, o.Progress)
	l, err := over(ctx, s, j, o)
	if err != nil {
		s.Close()
		return nil, err
	}
	l.own = s
	return l, nil
}

func over(ctx context.Context, s *interp.Session, j *interp.Job, o Options) (*Look, error) {
	l, err := Begin(s, j, o)
	if err != nil {
		return nil, err
	}
	r, err := l.Find(ctx)
	if err != nil {
		return nil, err
	}
	return l, l.Fill(ctx, r)
}

// Key is that of the picture that is looked over: looks of one key find the same.
func (l *Look) Key() raster.Sum { return l.plan.Nodes[l.node].Key }

// Find looks over the picture, which takes minutes where it is large.
func (l *Look) Find(ctx context.Context) (*inspect.Report, error) {
	return l.s.Look(ctx, l.plan, l.node)
}

// Begin says what is looked over, where it lies in the frame, and as what it is
// seen. The look has found nothing yet. The session stays the caller's, and the job,
// both open as long as the look is used.
func Begin(s *interp.Session, j *interp.Job, o Options) (*Look, error) {
	p := largest(j.Plans)
	if i := slices.IndexFunc(j.Plans, func(p *plan.Print) bool { return p.Name == o.Print }); i >= 0 {
		p = j.Plans[i]
	}
	if p.Sheet {
		return nil, fmt.Errorf("%s is a sheet: inspect a print that it shows", p.Name)
	}
	l := &Look{Print: o.Print, From: o.From, job: j, recipe: j.Recipe, source: j.Source, s: s, plan: p}
	text, _ := lang.ReadSource("", j.Source)
	l.head = headNode(p, headOf(text.Prepare()))
	l.node = l.head
	pic := p.Nodes[l.head].Pic
	l.frame = frame{w: float64(pic.W), h: float64(pic.H), sx: 1, sy: 1}
	// How the print shows the frame: a pixel of it in mm.
	x0, y0, w, h := flt(p.Covers.X0), flt(p.Covers.Y0), flt(p.Covers.W()), flt(p.Covers.H())
	printW, printH := mm(p.Picture.W, p.Picture.PPI), mm(p.Picture.H, p.Picture.PPI)
	l.as = inspect.Viewing{W: l.frame.w * printW / w, H: l.frame.h * printH / h}
	if o.Print != "" {
		l.node, _ = p.Inner()
		pic = p.Nodes[l.node].Pic
		l.frame.x0, l.frame.y0, l.frame.sx, l.frame.sy = x0, y0, w/float64(pic.W), h/float64(pic.H)
		l.as = inspect.Viewing{W: printW, H: printH}
	}
	if l.From == 0 {
		l.From = math.Hypot(printW, printH)
	}
	l.as.From = l.From
	return l, nil
}

// Fill takes what Find found, in this look or in another of the same Key: numbered
// as it comes and ranked as the print is seen. The report stays as it is.
func (l *Look) Fill(ctx context.Context, found *inspect.Report) error {
	type place struct {
		kind inspect.Kind
		at   inspect.Point
	}
	numbers := map[place]int{}
	for i, f := range found.Finds {
		numbers[place{f.Kind, f.At}] = i + 1
	}
	own := *found
	own.Finds = slices.Clone(found.Finds)
	l.Report = &own
	l.Rank(l.as)
	there := l.there(l.recipe)
	for _, f := range own.Finds {
		g := Find{Find: f, Number: numbers[place{f.Kind, f.At}]}
		g.X, g.Y = l.frame.place(f.At)
		m := l.mends(f)
		g.Lines = m.lines(l.frame)
		g.Line = there.has(m)
		l.Finds = append(l.Finds, g)
	}
	return l.markDismissed(ctx)
}

// Clean fails if something is seen in a print's finished pixels that isn't
// dismissed.
func Clean(ctx context.Context, s *interp.Session, j *interp.Job, p *plan.Print) error {
	if p.Sheet { // its prints are looked over by themselves
		return nil
	}
	l, err := over(ctx, s, j, Options{Print: p.Name})
	if err != nil {
		return err
	}
	if open := l.Visible(); len(open) > 0 {
		return fmt.Errorf("%s seen in it from %s, the first %s at (%s, %s): `platemark inspect %s --print %s` shows what to mend or to dismiss",
			lang.Count(len(open), "find"), Distance(l.From), open[0].Name(), open[0].X, open[0].Y, disk.Typed(j.File), p.Name)
	}
	return nil
}

// Close gives back what the look holds; the job stays open.
func (l *Look) Close() {
	if l.own != nil {
		l.own.Close()
	}
}

// largest is the print that shows most: its picture's area on the paper.
func largest(plans []*plan.Print) *plan.Print {
	return slices.MaxFunc(plans, func(a, b *plan.Print) int {
		return cmp.Compare(mm(a.Picture.W, a.Picture.PPI)*mm(a.Picture.H, a.Picture.PPI), mm(b.Picture.W, b.Picture.PPI)*mm(b.Picture.H, b.Picture.PPI))
	})
}

func mm(px int, ppi *big.Rat) float64 { return float64(px) / flt(ppi) * 25.4 }

func flt(r *big.Rat) float64 { f, _ := r.Float64(); return f }

// headOf are the lines at the head of prepare that come before what a find is
// mended by: those which say what picture there is, and single pixels.
func headOf(prepare *lang.Block) (lines []*lang.Line) {
	if prepare == nil {
		return nil
	}
	for _, l := range prepare.Lines {
		if !slices.Contains([]string{"turn", "mirror", "take", "convert"}, l.Tokens[0].Value) && !isSpot(l, "pixels") {
			return lines
		}
		lines = append(lines, l)
	}
	return lines
}

// headNode is the picture that those lines make.
func headNode(p *plan.Print, head []*lang.Line) int {
	chain := []int{p.Ready}
	for n := p.Nodes[p.Ready]; n.Input == nil; n = p.Nodes[chain[0]] {
		chain = slices.Insert(chain, 0, n.In[0])
	}
	at := chain[0]
	for _, i := range chain[1:] {
		n := p.Nodes[i]
		if n.Line != 0 && !slices.ContainsFunc(head, func(l *lang.Line) bool { return l.Line == n.Line }) {
			break
		}
		at = i
	}
	return at
}

// frame says where a picture lies in the frame, whose sides are w and h px.
type frame struct{ w, h, x0, y0, sx, sy float64 }

// at is a place of the picture in px of the frame.
func (f frame) at(p inspect.Point) (x, y float64) {
	return f.x0 + float64(p.X*f.sx), f.y0 + float64(p.Y*f.sy)
}

// long is the frame's longer side.
func (f frame) long() float64 { return max(f.w, f.h) }

// percent writes a share of a side in per cent, to so many pixels or so.
func (f frame) percent(v, side, to float64) string {
	decimals := 1
	for step := f.long() / 1000; step > 1.5*to; step /= 10 {
		decimals++
	}
	return number(100*v/side, decimals) + "%"
}

// place is a place of the picture in the words of a recipe.
func (f frame) place(p inspect.Point) (x, y string) {
	px, py := f.at(p)
	return f.percent(min(max(px, 0), f.w), f.w, 0.1), f.percent(min(max(py, 0), f.h), f.h, 0.1)
}

// number writes a number with at most so many decimals.
func number(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}
