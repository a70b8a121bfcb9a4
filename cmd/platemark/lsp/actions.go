package lsp

import (
	"context"

	"platemark/lang"
)

// edit is a change of a document: of this version, where the editor knows them.
func (s *server) edit(t *text, edits []textEdit) workspaceEdit {
	s.mu.Lock()
	versioned := s.able.Workspace.Edit.Versioned
	s.mu.Unlock()
	if !versioned {
		return workspaceEdit{Changes: map[string][]textEdit{t.uri: edits}}
	}
	e := documentEdit{Edits: edits}
	e.Doc.URI, e.Doc.Version = t.uri, t.version
	return workspaceEdit{Versioned: []documentEdit{e}}
}

// actions offers the mends of the problems that a range touches. Those that
// can mean one thing only are the preferred ones.
func (s *server) actions(_ context.Context, t *text, p actionParams) (any, error) {
	out := []action{}
	_, ds := lang.Parse(t.name(), t.src)
	from, to := t.byteAt(p.Range.Start), t.byteAt(p.Range.End)
	for _, d := range ds {
		at := t.ofSpan(d.Span)
		if d.Fix == nil || t.byteAt(at.Start) > to || t.byteAt(at.End) < from {
			continue
		}
		out = append(out, action{Title: d.Hints[0], Kind: "quickfix", Preferred: d.Fix.Safe, Problems: []diagnostic{t.diagnostic(d)},
			Edit: s.edit(t, []textEdit{{t.ofSpan(d.Fix.Span), d.Fix.Text}})})
	}
	return out, nil
}
