package lsp

import (
	"context"
	"strings"

	"platemark/lang"
)

// nameAt is the name at a position, nil where there is none.
func nameAt(t *text, p position) (*lang.Outline, *lang.NameAt) {
	o := lang.ReadOutline(t.src)
	return o, o.NameAtByte(t.byteAt(p))
}

// definition finds the line that gives a name; of pictures that several
// blocks give, each.
func (s *server) definition(_ context.Context, t *text, p at) (any, error) {
	o, n := nameAt(t, p.Pos)
	out := []location{}
	if n != nil {
		for _, x := range o.Same(n) {
			if x.Gives {
				out = append(out, location{t.uri, t.span(x.Offset, x.End)})
			}
		}
	}
	return out, nil
}

// references finds where a name is used, and where it is given if asked.
func (s *server) references(_ context.Context, t *text, p referenceParams) (any, error) {
	o, n := nameAt(t, p.Pos)
	out := []location{}
	if n != nil {
		for _, x := range o.Same(n) {
			if !x.Gives || p.Context.Declaration {
				out = append(out, location{t.uri, t.span(x.Offset, x.End)})
			}
		}
	}
	return out, nil
}

func (s *server) highlights(_ context.Context, t *text, p at) (any, error) {
	o, n := nameAt(t, p.Pos)
	out := []highlight{}
	if n != nil {
		for _, x := range o.Same(n) {
			kind := 2
			if x.Gives {
				kind = 3
			}
			out = append(out, highlight{t.span(x.Offset, x.End), kind})
		}
	}
	return out, nil
}

// prepareRename says what would be renamed.
func (s *server) prepareRename(_ context.Context, t *text, p at) (any, error) {
	_, n := nameAt(t, p.Pos)
	if n == nil {
		return nil, refused("only names of masks, steps blocks, prints and pictures can be renamed")
	}
	return prepared{t.span(n.Offset, n.End), n.Value}, nil
}

// rename gives a thing another name, everywhere. It refuses words of the
// language and names that something else has.
func (s *server) rename(_ context.Context, t *text, p renameParams) (any, error) {
	o, n := nameAt(t, p.Pos)
	if n == nil {
		return nil, refused("only names of masks, steps blocks, prints and pictures can be renamed")
	}
	name := strings.TrimSpace(p.Name)
	if why := o.Taken(n, name); why != "" {
		return nil, refused("%s", why)
	}
	edits := []textEdit{}
	if name != n.Value {
		for _, x := range o.Same(n) {
			edits = append(edits, textEdit{t.span(x.Offset, x.End), name})
		}
	}
	return s.edit(t, edits), nil
}
