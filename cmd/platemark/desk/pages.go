package desk

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"time"

	"platemark/cmd/platemark/view"
	"platemark/interp"
	"platemark/interp/compare"
	"platemark/interp/proof"
	"platemark/interp/retouch"
)

// routePages answers with the pages that commands write, of the recipe as it stands
// here. Each holds its pictures and its style, and no script may run in it.
func (s *Server) routePages(m *http.ServeMux) {
	for name, write := range map[string]func(w io.Writer, q *http.Request, r *recipe, print string) error{
		"inspected": s.inspected, "proofed": s.proofed, "differed": s.differed,
	} {
		m.HandleFunc("GET /"+name, func(w http.ResponseWriter, q *http.Request) {
			var b bytes.Buffer
			file, err := s.file(q.FormValue("file"))
			if err == nil {
				err = write(&b, q, s.recipes[file], q.FormValue("print"))
			}
			if err != nil {
				refuse(w, err)
				return
			}
			w.Header().Set("Content-Security-Policy", "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.Write(b.Bytes())
		})
	}
}

// inspected is inspect's page of the master or of a print.
func (s *Server) inspected(w io.Writer, q *http.Request, r *recipe, _ string) error {
	says, err := s.looking(q.Context(), r, finished(q), func(_ *reading, l *retouch.Look) error {
		v, err := l.Pictures(q.Context())
		if err != nil {
			return err
		}
		return view.WriteInspect(w, view.NewInspectPage(filepath.Base(r.path), l, v))
	})
	return errors.Join(err, waits(says))
}

// planned calls do with a recipe as it stands and a job of one print of it, while it
// has the session.
func (s *Server) planned(ctx context.Context, r *recipe, print string, do func(rd *reading, j *interp.Job) error) error {
	rd, err := s.read(ctx, r)
	if err != nil {
		return err
	}
	j, err := s.reader.Read(ctx, r.path, rd.source, interp.LoadOptions{Prints: []string{print}, NoOutputs: true})
	if err != nil {
		return err
	}
	if len(j.Plans) != 1 || j.Failed() {
		return errors.New(plainly(&interp.Problems{Source: rd.source, Diags: j.Diags}))
	}
	return s.useWhole(ctx, j.Plans[0], func() error { return do(rd, j) })
}

// proofed is proof's page of a print, on the paper that it is seen on or else its own.
func (s *Server) proofed(w io.Writer, q *http.Request, r *recipe, print string) error {
	return s.planned(q.Context(), r, print, func(rd *reading, j *interp.Job) error {
		o := proof.Options{Session: s.session}
		if paper := q.FormValue("paper"); paper != "" {
			o.Papers = []string{paper}
		}
		pr, err := proof.Make(q.Context(), j, print, o)
		if err != nil {
			return err
		}
		page := view.ProofPage{Recipe: filepath.Base(r.path), Proof: pr, Made: time.Now(), Name: print}
		if t := j.Recipe.Title; t != nil {
			page.Title = t.Value
		}
		_, err = view.WriteProof(w, page)
		return err
	})
}

// differed is diff's page, from what a print is compared with, a kept round or a
// recipe's print, to the print as it stands.
func (s *Server) differed(w io.Writer, q *http.Request, r *recipe, print string) error {
	ctx, with := q.Context(), q.FormValue("with")
	other := side{path: r.path, print: print}
	if err := s.named(r, with, &other); err != nil {
		return err
	}
	return s.planned(ctx, r, print, func(rd *reading, _ *interp.Job) error {
		var was *compare.Side
		var err error
		switch {
		case other.old > 0:
			was, err = compare.Open(ctx, fmt.Sprintf("%s@%d", r.path, other.old))
		case other.on == "":
			was, err = compare.OfPrint(ctx, with, other.path, other.text, other.print)
		default:
			return errAsked
		}
		if err != nil {
			return errors.New(plainly(err))
		}
		defer was.Close()
		now, err := compare.OfPrint(ctx, fmt.Sprintf("print %s of %s", print, filepath.Base(r.path)), r.path, rd.source, print)
		if err != nil {
			return errors.New(plainly(err))
		}
		defer now.Close()
		d, err := compare.Sides(was, now, "")
		if err != nil {
			return err
		}
		v, err := compare.Pictures(ctx, was, now, d, compare.ViewOptions{Session: s.session})
		if err != nil {
			return err
		}
		return view.WriteDiff(w, d, v)
	})
}
