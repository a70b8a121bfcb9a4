package register

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/plan"
)

// A Certificate is what a buyer is told of a print. It holds nothing about
// persons.
type Certificate struct {
	Log   *audit.Log
	Title string
	// Entry is the print's in the register, whose head is Head; nil where the
	// print has no edition.
	Entry *Entry
	Head  string
	Sizes plan.Sizes
	Paper string // "" where nobody says it
	Key   string // fingerprint of the key that signed the log, "" where none did
	// Picture is the print run small, in sRGB.
	Picture *interp.ViewPicture
}

// CertificateOptions say of which print, and what the log doesn't say.
type CertificateOptions struct {
	Copy, Proof int    // as registered; none where only one is
	Register    string // the recipe or its register; "" where the log leads to it
	Paper       string
	LookIn      []string
	Side        int // of the picture, px at most
	Workers     int
	Progress    func(stage string, done, due int64)
}

// Certify gathers a certificate: of a print whose log is whole, whose inputs are
// there, and whose number is registered with this very mark and file.
func Certify(ctx context.Context, path string, o CertificateOptions) (*Certificate, error) {
	l, err := audit.ReadLog(path)
	if err != nil {
		return nil, err
	}
	if l.Run.Failure != "" {
		return nil, l.Wrong(0, "this is the log of a build that failed; there is no print to certify")
	}
	signed := interp.Signature(l, nil)
	if signed.Err != nil {
		return nil, l.Wrong(0, "%s", signed.Of("the log"))
	}
	where, _, err := interp.Locate(ctx, l, append(slices.Clone(o.LookIn), filepath.Dir(path)))
	if err != nil {
		return nil, err
	}
	j, err := interp.LoadLog(ctx, l, where)
	if err != nil {
		return nil, err
	}
	defer j.Close()
	p, pr := j.Plans[0], j.Recipe.Print(l.Recipe.Print)
	if pr.Sheet != nil {
		return nil, errSheet(l)
	}
	c := &Certificate{Log: l, Title: p.Name, Sizes: p.Sizes(), Paper: o.Paper, Key: signed.Key}
	if t := j.Recipe.Title; t != nil {
		c.Title = cmp.Or(t.Value, c.Title)
	}
	if pr.On != nil && c.Paper == "" {
		c.Paper = pr.On.Value
	}
	switch {
	case pr.Edition != nil:
		if err := c.numbered(o); err != nil {
			return nil, err
		}
	case o.Copy != 0 || o.Proof != 0:
		return nil, fmt.Errorf("print %s has no edition, so that its copies have no numbers", p.Name)
	}
	s := interp.NewSession(o.Workers, o.Progress)
	defer s.Close()
	c.Picture, err = s.Thumb(ctx, p, o.Side)
	return c, err
}

// numbered finds the print's entry in its register.
func (c *Certificate) numbered(o CertificateOptions) error {
	l := c.Log
	places := []string{o.Register}
	if o.Register == "" {
		places = l.At(l.Run.Recipe)
	}
	var r *List
	for _, p := range places {
		var err error
		if r, err = Read(p); err != nil {
			return err
		}
		if len(r.Lines) > 0 {
			break
		}
	}
	var names []string
	for _, e := range r.Of(l.File.Mark) {
		if e.Print != l.Recipe.Print || e.File != l.File.SHA256 {
			continue
		}
		names = append(names, numberOf(e))
		if o.Copy == e.Copy && o.Proof == e.Proof || o.Copy == 0 && o.Proof == 0 {
			c.Entry = &e
		}
	}
	c.Head = r.Head()
	switch {
	case len(names) == 0:
		return fmt.Errorf("no copy of this print is registered in %s: `platemark register add RECIPE --copy N --log %s` does, and --register names a register elsewhere", r.Path, disk.Typed(l.Path))
	case c.Entry == nil || o.Copy == 0 && o.Proof == 0 && len(names) > 1:
		return fmt.Errorf("name the one it is for, with --copy or --proof; registered of this print: %s", strings.Join(names, ", "))
	}
	return nil
}

// Entries is how many entries the register had.
func (c *Certificate) Entries() int {
	count, _, _ := strings.Cut(c.Head, ":")
	n, _ := strconv.Atoi(count)
	return n
}

// Name is what the certificate's files are called, without what says their kind:
// after the print file, the mark and the number, beside the log or in a folder.
func (c *Certificate) Name(folder string) string {
	l := c.Log
	name := l.Run.Out + "." + l.File.Mark[:12]
	if c.Entry != nil {
		name += "." + strings.ReplaceAll(numberOf(*c.Entry), " ", "-")
	}
	return disk.Join(cmp.Or(folder, filepath.Dir(l.Path)), name+".certificate")
}
