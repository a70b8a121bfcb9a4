package lsp

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"platemark/interp"
	"platemark/interp/master"
	"platemark/lang"
	"platemark/ops/exact"
)

// hover explains the word, unit or name at a place. On a print's size it says
// the pixels and, where the recipe can be planned, the resolution.
func (s *server) hover(ctx context.Context, t *text, p at) (any, error) {
	o := lang.ReadOutline(t.src)
	tok, line := o.At(t.byteAt(p.Pos))
	if tok == nil {
		return nil, nil
	}
	var parts []string
	add := func(m string) {
		if m != "" {
			parts = append(parts, m)
		}
	}
	head := line.Tokens[0].Value
	if line.In.Kind == "print" && head == "size" {
		add(t.size(ctx, line))
	}
	switch tok.Kind {
	case lang.KindWord, lang.KindUnit, lang.KindKernel, lang.KindSpace:
		word := head
		if (head == "less" || head == "within") && line.In.Kind == "mask" && len(line.Tokens) > 1 {
			word = line.Tokens[1].Value
		}
		if tok == &line.Tokens[0] || tok.Value == word {
			word = ""
		}
		add(entry(tok.Kind, word, tok.Value))
	case lang.KindName:
		if n := o.NameAtByte(tok.Offset); n != nil {
			add(t.about(o, n))
		}
	case lang.KindString:
		if head == "master" {
			add(t.master(ctx))
		}
	}
	if len(parts) == 0 {
		return nil, nil
	}
	return hover{markup{"markdown", strings.Join(parts, "\n\n---\n\n")}, t.span(tok.Offset, tok.End)}, nil
}

// about says what a name is of and how often it is used.
func (t *text) about(o *lang.Outline, n *lang.NameAt) string {
	uses, given := 0, ""
	of := n.Of
	for _, x := range o.Same(n) {
		if !x.Gives {
			uses++
			continue
		}
		of = x.Of
		if given == "" {
			given = fmt.Sprintf(", line %d: `%s`", x.Line, strings.TrimSpace(t.row(x.Line)))
		}
	}
	if given == "" {
		return fmt.Sprintf("%s **%s**, given nowhere", of, n.Value)
	}
	times := fmt.Sprintf("used %d times", uses)
	switch uses {
	case 0:
		times = "not used"
	case 1:
		times = "used once"
	}
	if of == lang.NamePrint {
		times = "a print file"
	}
	return fmt.Sprintf("%s **%s**%s\n\n%s", of, n.Value, given, times)
}

// size says what a print's size comes to.
func (t *text) size(ctx context.Context, line *lang.Line) string {
	if file, name := t.path(), line.In.Name; file != "" && name != nil {
		if j, err := interp.Glance(ctx, file, t.src, name.Value); err == nil {
			defer j.Close()
			if len(j.Plans) == 1 && j.Plans[0].Face.Effective != nil {
				p := j.Plans[0]
				return fmt.Sprintf("**%s** at %s ppi\n\nThe master has %s pixels an inch of its own at this size.",
					p.Sizes().Picture, exact.Decimals(p.Face.PPI, 2), exact.Decimals(p.Face.Effective, 1))
			}
		}
	}
	// Without a plan the line alone is read.
	rec, _ := lang.Parse(t.name(), t.src)
	for _, pr := range rec.Prints {
		z := pr.Size
		if z == nil || z.Line != line.Line {
			continue
		}
		const unknown = "the other side and the master's resolution show when the recipe has no errors and its files are there"
		w, fine := side(z.W, z.At)
		h, also := side(z.H, z.At)
		switch {
		case z.Within:
			return fmt.Sprintf("at most **%s x %s px**; %s", w, h, unknown)
		case fine && also:
			return fmt.Sprintf("**%s x %s px**", w, h)
		case fine:
			return fmt.Sprintf("**%s px** wide; %s", w, unknown)
		case also:
			return fmt.Sprintf("**%s px** high; %s", h, unknown)
		}
	}
	return ""
}

func side(m *lang.Measure, ppi lang.Measure) (string, bool) {
	if m == nil {
		return "", false
	}
	n, ok := lang.SidePixels(*m, ppi)
	return fmt.Sprint(n), ok
}

// master says what the head of the master file says.
func (t *text) master(ctx context.Context) string {
	file := t.path()
	if file == "" {
		return ""
	}
	j, err := interp.Glance(ctx, file, t.src)
	if err != nil {
		return ""
	}
	defer j.Close()
	for _, p := range j.Plans {
		for _, in := range p.Inputs {
			if in.Role == master.RoleMaster {
				i := in.Picture.Info()
				return fmt.Sprintf("**%d x %d px**, %d bits", i.W, i.H, i.Bits)
			}
		}
	}
	return ""
}

// entry is what the reference says about a word: about a statement, a unit, a
// kernel or a space, or with a statement before it, about its parameter.
func entry(kind lang.Kind, statement, word string) string {
	if statement != "" && kind == lang.KindWord {
		if m := parameter(statement, word); m != "" {
			return m
		}
	}
	return reference(kind, statement, word)
}

func parameter(statement, word string) string {
	for _, st := range lang.Statements() {
		if st.Word != statement {
			continue
		}
		for _, p := range st.Params {
			if p.Word != word {
				continue
			}
			m := fmt.Sprintf("**%s** of %s", word, statement)
			var r []string
			for _, x := range p.Ranges {
				r = append(r, x.String())
			}
			if r = slices.Concat(r, p.OneOf, p.Words); len(r) > 0 {
				m += ": " + strings.Join(r, ", ")
			}
			if p.Default != "" {
				m += "; " + p.Default + " where it is left out"
			}
			return m + "\n\n```\n" + st.Usage() + "\n```"
		}
	}
	return ""
}
