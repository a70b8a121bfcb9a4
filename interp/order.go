package interp

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops/raster"
)

// An Order is many recipes built in one run: planned as one, with masters and
// profiles that several share opened, hashed and decoded once.
type Order struct {
	Jobs []*OrderJob
	// Rows are the prints in the order of the recipes; a recipe that can't be
	// planned has one row without a print.
	Rows []*OrderRow
	// Problems stand in the way of the whole order: outputs that meet, no room.
	Problems []string
	// Bytes is what the print files are expected to take together.
	Bytes int64

	cache *inputCache
	out   string
}

// OrderJob is one recipe of an order; Err says why it couldn't be opened.
type OrderJob struct {
	File string
	Job  *Job // nil with Err
	Err  error
}

// OrderState says what became of a print.
type OrderState string

const (
	OrderPlanned OrderState = "planned"
	OrderBuilt   OrderState = "built"
	OrderThere   OrderState = "already there, verified"
	OrderFailed  OrderState = "failed"
)

// OrderRow is one print of an order.
type OrderRow struct {
	Recipe   string
	Print    string
	File     string
	Log      string
	Plan     *plan.Print
	State    OrderState
	Built    *Built // of a print that was built
	Bytes    int64  // of the file, once there
	Sum      raster.Sum
	Lab      string // the print's, "" where it names none
	Warnings []string
	Err      error

	job *Job
}

// Block is the recipe's block of a print that was planned.
func (r *OrderRow) Block() *lang.Print { return r.job.Recipe.Print(r.Print) }

// measured takes the guess of the file's size out of the warnings, once the size
// is known: a file over its lab's limit is never there.
func (r *OrderRow) measured() {
	r.Warnings = slices.DeleteFunc(r.Warnings, func(w string) bool {
		return slices.ContainsFunc(r.Plan.Notes, func(d lang.Diagnostic) bool {
			return d.Code == plan.CodeLab && d.Severity == lang.Warning && d.Summary == w
		})
	})
}

// inputCache opens each file once for all recipes of an order.
type inputCache struct {
	open map[string]*master.Input // by role and real path
}

// input is the open file under the name that one recipe gives it.
func (c *inputCache) input(ctx context.Context, role master.Role, path, found string, white bool) (*master.Input, error) {
	k := fmt.Sprint(role, "\x00", white, "\x00", disk.Real(found))
	in := c.open[k]
	if in == nil {
		var err error
		if in, err = master.Open(ctx, role, path, found, white); err != nil {
			return nil, err
		}
		c.open[k] = in
	}
	return in.Named(path, found), nil
}

// holds says whether the order itself has a file open, as an input of a recipe.
func (c *inputCache) holds(path string) bool {
	if c == nil {
		return false
	}
	for _, in := range c.open {
		if disk.Same(path, in.Found) {
			return true
		}
	}
	return false
}

func (c *inputCache) close() {
	for _, in := range c.open {
		in.Close()
	}
}

// LoadOrder plans an order. What is wrong with one recipe stands in its row
// and leaves the others; what is wrong with the order as a whole in Problems.
// With o.Resume prints that are there already, of the same mark and with the
// recorded bytes, need no building. The caller closes the order.
func LoadOrder(ctx context.Context, files []string, o LoadOptions) (*Order, error) {
	ord := &Order{cache: &inputCache{open: map[string]*master.Input{}}, out: o.Out}
	o.open, o.cache = ord.cache.input, ord.cache
	// A recipe that has no print of the asked name is left out quietly, if
	// another has one.
	for _, f := range files {
		j := &OrderJob{File: f}
		ord.Jobs = append(ord.Jobs, j)
		j.Job, j.Err = Load(ctx, f, o)
		if ctx.Err() != nil {
			ord.Close()
			return nil, context.Cause(ctx)
		}
		if j.Err != nil {
			ord.Rows = append(ord.Rows, &OrderRow{Recipe: f, State: OrderFailed, Err: j.Err})
			continue
		}
		if j.Job.Failed() {
			ord.Rows = append(ord.Rows, &OrderRow{Recipe: f, State: OrderFailed, Err: &Problems{j.Job.Source, j.Job.Diags}})
			continue
		}
		for _, p := range j.Job.Plans {
			r := &OrderRow{Recipe: f, Print: p.Name, File: j.Job.OutPath(p, o.Out), Plan: p, State: OrderPlanned, job: j.Job}
			if pr := j.Job.Recipe.Print(p.Name); pr != nil && pr.For != nil {
				r.Lab = pr.For.Value
			}
			for _, d := range append(slices.Clone(j.Job.Inputs.Diags), p.Notes...) {
				if d.Severity == lang.Warning && !slices.Contains(r.Warnings, d.Summary) {
					r.Warnings = append(r.Warnings, d.Summary)
				}
			}
			if t, ok := j.Job.there[p]; ok {
				r.State, r.Log, r.Bytes, r.Sum = OrderThere, t.log, t.size, t.sum
				r.measured()
			}
			ord.Rows = append(ord.Rows, r)
		}
	}
	var plans []*plan.Print
	for _, r := range ord.Rows {
		if r.State == OrderPlanned {
			plans = append(plans, r.Plan)
		}
	}
	plan.MarkShared(plans)
	ord.checkNames(ctx, o.Force)
	ord.checkRoom()
	return ord, nil
}

// Close closes every input.
func (o *Order) Close() {
	for _, j := range o.Jobs {
		if j.Job != nil {
			j.Job.Close()
		}
	}
	o.cache.close()
}

// Failed says whether some print of the order failed.
func (o *Order) Failed() bool {
	return slices.ContainsFunc(o.Rows, func(r *OrderRow) bool { return r.State == OrderFailed })
}

// checkNames refuses outputs of two recipes that are one file on some system,
// outputs that are an input of another recipe, and outputs that --force would put
// in place of what is no print.
func (o *Order) checkNames(ctx context.Context, force bool) {
	seen := map[string]*OrderRow{}
	for _, r := range o.Rows {
		if r.Plan == nil {
			continue
		}
		name := disk.Fold(disk.Real(r.File))
		if q := seen[name]; q != nil {
			if q.job != r.job { // within a recipe it is said there
				o.Problems = append(o.Problems, fmt.Sprintf("print %s of %s and print %s of %s would be one file: %s and %s", q.Print, q.Recipe, r.Print, r.Recipe, q.File, r.File))
			}
			continue
		}
		seen[name] = r
		known := !force || disk.Absent(r.File) == nil || printAt(ctx, r.File)
		for _, j := range o.Jobs {
			if j.Job == nil || j.Job == r.job || j.Job.Inputs == nil {
				continue
			}
			if in := j.Job.sameAsInput(r.File); in != nil {
				o.Problems = append(o.Problems, fmt.Sprintf("print %s of %s would overwrite %s, the %s of %s: inputs are never written to", r.Print, r.Recipe, r.File, in.Role, j.File))
				known = true
				break
			}
		}
		if !known {
			o.Problems = append(o.Problems, fmt.Sprintf("print %s of %s: %v", r.Print, r.Recipe, unknownError(r.File)))
		}
	}
}

// checkRoom holds what the files will likely take against the room on each
// disk.
func (o *Order) checkRoom() {
	type volume struct {
		folder     string
		need, free int64
	}
	var disks []*volume
	byID := map[string]*volume{}
	for _, r := range o.Rows {
		if r.State != OrderPlanned {
			continue
		}
		likely, _ := r.Plan.File.Room(r.Plan.Nodes[r.Plan.Out].Pic)
		o.Bytes += likely
		folder := disk.Standing(filepath.Dir(r.File))
		id, free, ok := disk.Free(folder)
		if !ok {
			continue
		}
		d := byID[id]
		if d == nil {
			d = &volume{folder: folder, free: free}
			byID[id] = d
			disks = append(disks, d)
		}
		d.need += likely
	}
	for _, d := range disks {
		if d.need > d.free {
			o.Problems = append(o.Problems, fmt.Sprintf("the order needs about %d MB on the disk of %s, which has %d MB free", (d.need+999_999)/1_000_000, d.folder, d.free/1_000_000))
		}
	}
}

// Build makes what isn't there yet. tell is called for each print when it is
// finished or has failed, and before the first for those already there, unless
// they are asked about (BuildOptions.Before). A
// failed print stops no other; only cancelling does.
func (o *Order) Build(ctx context.Context, bo BuildOptions, tell func(*OrderRow)) error {
	if len(o.Problems) > 0 {
		return errors.New("the order has problems")
	}
	if tell == nil {
		tell = func(*OrderRow) {}
	}
	var todo []*OrderRow
	for _, r := range o.Rows {
		if r.State == OrderPlanned || r.State == OrderThere && bo.Before != nil {
			todo = append(todo, r)
		} else {
			tell(r)
		}
	}
	if len(todo) == 0 {
		return nil
	}
	groupOrder(todo)
	s := newSession(bo)
	defer s.Close()
	watch := bo.Progress
	for i, r := range todo {
		var later []*plan.Print
		for _, l := range todo[i+1:] {
			later = append(later, l.Plan)
		}
		if watch != nil {
			s.Progress = func(stage string, done, due int64) {
				watch(fmt.Sprintf("%d of %d, %s, %s", i+1, len(todo), filepath.Base(r.Recipe), stage), done, due)
			}
		}
		m := &making{Session: s, job: r.job, plan: r.Plan, out: r.File, force: bo.Force, key: bo.Sign, later: later}
		var built *Built
		err := bo.before(ctx, s, r.job, r.Plan)
		if err == nil && r.State == OrderPlanned {
			built, err = m.print(ctx)
		}
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		switch {
		case err != nil:
			r.State, r.Err = OrderFailed, err
		case built != nil:
			r.State, r.Built, r.Bytes, r.Sum, r.Log = OrderBuilt, built, built.Size, built.Sum, built.Log
			r.measured()
			r.Warnings = append(r.Warnings, built.Warnings...)
		}
		tell(r)
		s.Release(later)
	}
	return nil
}

// groupOrder puts prints of one master, and among them prints of one prepared
// picture, side by side, so that neither is held for longer than it serves.
func groupOrder(rows []*OrderRow) {
	rank := map[raster.Sum]int{}
	at := func(k raster.Sum) int {
		n, ok := rank[k]
		if !ok {
			n = len(rank)
			rank[k] = n
		}
		return n
	}
	type place struct{ master, ready, row int }
	places := map[*OrderRow]place{}
	for i, r := range rows {
		var m raster.Sum
		for _, n := range r.Plan.Nodes {
			if n.Input != nil && n.Input.Role == master.RoleMaster {
				m = n.Input.Sum
			}
		}
		places[r] = place{at(m), at(r.Plan.Nodes[r.Plan.Ready].Key), i}
	}
	slices.SortFunc(rows, func(x, y *OrderRow) int {
		p, q := places[x], places[y]
		return cmp.Or(cmp.Compare(p.master, q.master), cmp.Compare(p.ready, q.ready), cmp.Compare(p.row, q.row))
	})
}

// standing is a print file that is there already, as a log beside it records.
type standing struct {
	log  string
	size int64
	sum  raster.Sum
}

// standingAt looks for a log of the plan's very mark and draft beside out
// whose file is there byte for byte. changed says that a log was found and the
// file isn't what it records.
func (j *Job) standingAt(ctx context.Context, p *plan.Print, out string) (s standing, ok, changed bool) {
	sum, size, err := master.HashPath(ctx, out)
	if err != nil {
		return s, false, false
	}
	for _, l := range audit.Beside(out, p.Mark.String()) {
		if l.Run.Failure != "" || l.File.Mark != p.Mark.String() || l.Head.Draft != j.Draft() || l.Run.Out != filepath.Base(out) {
			continue
		}
		if l.File.SHA256 == sum.String() {
			return standing{l.Path, size, sum}, true, false
		}
		changed = true
	}
	return s, false, changed
}

// logLost says whether no log beside a print file records its bytes.
func logLost(ctx context.Context, out string) bool {
	sum, _, err := master.HashPath(ctx, out)
	return err == nil && audit.LaterBuild("", out, sum.String()) == ""
}

// printAt says whether a log beside a file says that a print was made there: of
// these bytes, or under this name, as where a copy was cut off.
func printAt(ctx context.Context, out string) bool {
	var sum string
	for _, l := range audit.Beside(out, "") {
		if l.Run.Failure != "" {
			continue
		}
		if l.Run.Out == filepath.Base(out) {
			return true
		}
		if sum == "" { // both were renamed
			is, _, err := master.HashPath(ctx, out)
			if err != nil {
				return false
			}
			sum = is.String()
		}
		if l.File.SHA256 == sum {
			return true
		}
	}
	return false
}

// unknownFile says of what stands at a print's name that it is no print.
func unknownFile(out string) string {
	return out + " is in the way, and no whole log beside it says that platemark made it"
}

// unknownError is unknownFile with its mend.
func unknownError(out string) error {
	return fmt.Errorf("%s, and --force replaces only prints: move it away or delete it, or name another folder with --out", unknownFile(out))
}
