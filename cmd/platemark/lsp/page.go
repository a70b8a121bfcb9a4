package lsp

import (
	"context"
	"net/url"
	"path/filepath"
	"strings"

	"platemark/lang"
)

// Text is one version of a recipe in a file, for a page that lets it be written:
// its places are the protocol's, and what it offers is what editors are offered.
type Text struct{ t *text }

type (
	Position = position
	Range    = span
	Change   = change
	Item     = item
)

// NewText is the text of a recipe that stands at path or will be saved there.
func NewText(path string, src []byte) Text {
	p := filepath.ToSlash(path)
	if !strings.HasPrefix(p, "/") { // C:/prints
		p = "/" + p
	}
	return Text{newText((&url.URL{Scheme: "file", Path: p}).String(), 0, src)}
}

// Apply returns the text after a change; every other byte stays as it is.
func (t Text) Apply(c Change) []byte { return t.t.apply(c) }

// Range is the place of a stretch of the source.
func (t Text) Range(s lang.Span) Range { return t.t.ofSpan(s) }

// Offers are what may stand at a position.
func (t Text) Offers(p Position) []Item {
	list, _ := (*server)(nil).complete(context.Background(), t.t, at{Pos: p})
	return list.(itemList).Items
}

// Files are the states of the files that a recipe names.
func (t Text) Files(rec *lang.Recipe) map[string]fileState { return t.t.states(rec) }
