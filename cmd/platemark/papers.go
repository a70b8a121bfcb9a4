package main

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"platemark/cmd/platemark/view"
	"platemark/interp"
	"platemark/interp/disk"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops/exact"
)

// pdfName is the path of the PDF of true size beside a print's file: FILE.pdf
// without the file's ending, with it where two files would have one PDF.
func (c *buildCmd) pdfName(j *interp.Job, p *plan.Print) string {
	stem := func(p *plan.Print) string {
		file := j.OutPath(p, c.Out)
		return strings.TrimSuffix(file, filepath.Ext(file))
	}
	if slices.ContainsFunc(j.Plans, func(q *plan.Print) bool { return q != p && disk.Fold(stem(q)) == disk.Fold(stem(p)) }) {
		return j.OutPath(p, c.Out) + ".pdf" // a.tif beside a.jpg
	}
	return stem(p) + ".pdf"
}

// pdfsAbsent says before a build which of its PDFs may not be written.
func (c *buildCmd) pdfsAbsent(j *interp.Job) error {
	for _, p := range j.Plans {
		if err := free(c.pdfName(j, p), c.Force, "another folder"); err != nil {
			return err
		}
	}
	return nil
}

// pdfs writes a PDF of true size beside each file that was built.
func (c *buildCmd) pdfs(a *app, j *interp.Job, built []interp.Built) error {
	for _, b := range built {
		p := j.Plans[slices.IndexFunc(j.Plans, func(p *plan.Print) bool { return p.Name == b.Print })]
		path := c.pdfName(j, p)
		if err := interp.TrueSize(a.ctx, b.File, p, path, c.Force); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		if !c.JSON {
			fmt.Fprintf(a.out, "%s\n    at true size; print it at 100 %%, not fitted to the page\n", path)
		}
	}
	return nil
}

// thumbSide is the longer side of an order's small pictures, px.
const thumbSide = 600

// papers writes what goes with an order's files: for the lab, and for the client
// where that is asked for.
func (c *buildCmd) papers(a *app, o *interp.Order) error {
	lab := &view.Order{Made: time.Now(), Words: labWords(o)}
	client := &view.Order{Title: view.ClientTitle, Made: time.Now()}
	for _, r := range o.Rows {
		if !ready(r) {
			continue
		}
		small, err := c.thumb(a, r.Plan)
		if err != nil {
			return err
		}
		title := cmp.Or(r.Plan.File.Title, r.Plan.Name)
		one := view.OrderPrint{Title: title, Picture: small, Warn: r.Warnings}
		forLab(&one, r)
		lab.Prints = append(lab.Prints, one)
		one = view.OrderPrint{Title: title, Picture: small}
		one.Say("Size", view.Extent(r.Plan.Sizes().Face), false)
		onPaper(&one, r)
		client.Prints = append(client.Prints, one)
	}
	lab.Title = view.LabTitle + lang.Count(len(lab.Prints), "print")
	if err := c.paper("order", lab); err != nil || !c.Client {
		return err
	}
	return c.paper("client", client)
}

// ready says whether a print's file is there to be sent.
func ready(r *interp.OrderRow) bool {
	return r.State == interp.OrderBuilt || r.State == interp.OrderThere
}

// thumb is a print run small.
func (c *buildCmd) thumb(a *app, p *plan.Print) (*interp.ViewPicture, error) {
	s := interp.NewSession(c.n(), a.bar.tell)
	defer s.Close()
	return s.Thumb(a.ctx, p, thumbSide)
}

// forLab says of a print what a lab needs.
func forLab(one *view.OrderPrint, r *interp.OrderRow) {
	p, z := r.Plan, r.Plan.Sizes()
	one.Say("Print", fmt.Sprintf("%s of %s", p.Name, filepath.Base(r.Recipe)), false)
	one.Say("Seen", z.Face.String(), false)
	if z.Whole != z.Face {
		one.Say("Whole file", z.Whole.String(), false)
	}
	for _, n := range p.Nodes {
		if n.Op == "border" || n.Op == "wrap" {
			one.Say("Around it", n.Text, false)
		}
	}
	onPaper(one, r)
	one.Say("Lab", r.Lab, false)
	one.Say("File", fmt.Sprintf("%s, %s (%d bytes)", filepath.Base(r.File), plan.SizeText(r.Bytes), r.Bytes), false)
	one.Say("Colours", fmt.Sprintf("%s, %s ppi", p.File.Profile.Description(), exact.Decimals(p.Face.PPI, 4)), false)
	one.Say("Digest", r.Sum.String(), true)
	one.Say("Mark", p.Mark.String(), true)
}

// onPaper says paper and edition, where the recipe does.
func onPaper(one *view.OrderPrint, r *interp.OrderRow) {
	if pr := r.Block(); pr.On != nil {
		one.Say("Paper", pr.On.Value, false)
	}
	if e := r.Block().Edition; e != nil {
		one.Say("Edition", e.Count.Value.RatString(), false)
	}
}

// foreign lists what stands in the place of an order's papers and is none of an
// earlier order, which they would replace.
func (c *buildCmd) foreign() (out []string) {
	for _, name := range []string{orderFile, "order.html", "order.pdf", "client.html", "client.pdf"} {
		path := filepath.Join(c.Out, name)
		if strings.HasPrefix(name, "client") && !c.Client || disk.Absent(path) == nil {
			continue
		}
		head := make([]byte, 1<<12)
		if f, _, err := disk.Open(path); err == nil {
			io.ReadFull(f, head)
			f.Close()
		}
		if !bytes.HasPrefix(head, []byte(orderColumns)) && !view.IsOrder(head) {
			out = append(out, path)
		}
	}
	return out
}

// paper writes a page as HTML and as PDF, in place of an earlier run's.
func (c *buildCmd) paper(name string, o *view.Order) error {
	page, file, err := view.WriteOrder(o)
	if err == nil {
		err = disk.Write(filepath.Join(c.Out, name+".html"), page, true)
	}
	if err == nil {
		err = disk.Write(filepath.Join(c.Out, name+".pdf"), file, true)
	}
	return err
}

// labWords is the line for the lab: what the files have in common.
func labWords(o *interp.Order) []string {
	var profiles, ppi []string
	once := func(list []string, s string) []string {
		if slices.Contains(list, s) {
			return list
		}
		return append(list, s)
	}
	for _, r := range o.Rows {
		if !ready(r) {
			continue
		}
		profiles, ppi = once(profiles, r.Plan.File.Profile.Description()), once(ppi, exact.Decimals(r.Plan.Face.PPI, 4))
	}
	return []string{fmt.Sprintf("To the lab: each file is ready as it is, in %s at %s ppi. Print at 100 %%, no correction, no sharpening, no fitting to the sheet; its colours are those of the profile inside.",
		strings.Join(profiles, " or "), strings.Join(ppi, " or "))}
}
