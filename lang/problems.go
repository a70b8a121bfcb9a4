package lang

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Bounds of what is told. A file with more problems is no recipe: a picture
// opened by mistake, a stuck key, a paste gone wrong.
const (
	mostOnLine = 20     // problems told of one line
	mostInFile = 200    // problems told of one file
	mostKept   = 20_000 // problems collected, of which those are chosen
	mostWords  = 400    // characters of one sentence: a word in it may be as long as a line
)

// problems collects what is wrong with a file.
type problems struct {
	file    string
	ds      []Diagnostic
	wrong   bool // an error is among them
	dropped int  // problems beyond what is kept
	line    int  // of the last problem
	onLine  int
}

// add adds a problem. What it returns takes the mend until the next one.
func (p *problems) add(code string, sp Span, summary, detail string, hints ...string) *Diagnostic {
	d := Diagnostic{Severity: severityOf(code), Code: code, File: p.file, Span: sp, Summary: clip(summary), Detail: clip(detail), Hints: hints}
	for i, h := range d.Hints {
		d.Hints[i] = clip(h)
	}
	if sp.Line != p.line {
		p.line, p.onLine = sp.Line, 0
	}
	p.onLine++
	// A first error is always kept: it decides whether the recipe may be run.
	if (p.onLine > 4*mostOnLine || len(p.ds) >= mostKept) && (p.wrong || d.Severity != Error) {
		p.dropped++
		return &d
	}
	p.wrong = p.wrong || d.Severity == Error
	p.ds = append(p.ds, d)
	return &p.ds[len(p.ds)-1]
}

// clip cuts what is longer than anybody reads.
func clip(s string) string {
	if len(s) <= mostWords {
		return s
	}
	n := mostWords
	for !utf8.RuneStart(s[n]) {
		n--
	}
	return strings.Clone(s[:n]) + "…"
}

// told returns what is told of the problems.
func (p *problems) told() []Diagnostic {
	for i := range p.ds {
		if d := &p.ds[i]; len(d.Hints) == 0 {
			d.Hints = []string{Codes[codeIndex[d.Code]].Mend}
		}
	}
	return bounded(p.ds, p.dropped)
}

// Tidy brings diagnostics into the order of the file, drops those that say the
// same at the same place, as happens where two prints follow one steps block,
// and keeps no more than can be read: of each line 20 and of a file 200, errors
// before warnings and notes. The last one says how many more there are.
func Tidy(ds []Diagnostic) []Diagnostic { return bounded(ds, 0) }

func bounded(ds []Diagnostic, dropped int) []Diagnostic {
	Sort(ds)
	var out []Diagnostic
	line, n, wrong := 0, 0, false
	errors := 0
	for _, d := range ds {
		if d.Span.Line != line {
			line, n, wrong = d.Span.Line, 0, false
		}
		// A line's first error is always kept: it decides whether the recipe
		// may be run.
		first := d.Severity == Error && !wrong
		wrong = wrong || first
		if n++; n > mostOnLine && !first {
			if n == mostOnLine+1 {
				out[len(out)-1].hint("this line has more problems; they are told once these are mended")
			}
			dropped++
			continue
		}
		twice := false
		for i := len(out) - 1; i >= 0 && out[i].Span == d.Span; i-- {
			twice = twice || out[i].Code == d.Code && out[i].Summary == d.Summary
		}
		if !twice {
			out = append(out, d)
			if d.Severity == Error {
				errors++
			}
		}
	}
	if len(out) <= mostInFile {
		return out
	}
	dropped += len(out) - mostInFile
	others := max(0, mostInFile-errors)
	kept := out[:0]
	for _, d := range out {
		if len(kept) == mostInFile {
			break
		}
		if d.Severity != Error {
			if others == 0 {
				continue
			}
			others--
		}
		kept = append(kept, d)
	}
	kept[len(kept)-1].hint(fmt.Sprintf("and %s more; they are told once these are mended", grouped(dropped)))
	return kept
}

// hint adds a hint to one of several that may share theirs.
func (d *Diagnostic) hint(h string) {
	d.Hints = append(d.Hints[:len(d.Hints):len(d.Hints)], h)
}

// grouped writes a count with its digits in threes: 4,812.
func grouped(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
