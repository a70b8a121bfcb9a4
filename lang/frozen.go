package lang

import (
	"fmt"
	"slices"
	"strings"

	"platemark/testdata/frozen"
)

// Use is a piece of the language where a recipe uses it. Piece is what
// frozen.Find knows it by: "statement crop", "operation blend 1".
type Use struct {
	Span
	Piece string
}

// uses are the statements of a block and of the blocks in it.
func (b *block) uses() (out []Use) {
	for _, st := range b.stmts {
		if st.is != nil {
			out = append(out, Use{st.span, "statement " + st.is.heading()})
		}
		if st.opens != nil {
			out = append(out, st.opens.uses()...)
		}
	}
	return out
}

// Distinct are uses without those of a piece that was used before.
func Distinct(uses []Use) (out []Use) {
	seen := map[string]bool{}
	for _, u := range uses {
		if !seen[u.Piece] {
			seen[u.Piece] = true
			out = append(out, u)
		}
	}
	return out
}

// Drafts are the pieces among uses that aren't frozen, each once.
func Drafts(uses []Use) []Use {
	return slices.DeleteFunc(Distinct(uses), func(u Use) bool {
		p, _ := frozen.Find(u.Piece)
		return p.Frozen
	})
}

// draftsNamed is how many drafts an error names beside the first.
const draftsNamed = 5

// NotFrozen is the error of a recipe without draft that uses drafts: one for all,
// at the first.
func NotFrozen(drafts []Use) Diagnostic {
	var more []string
	for _, u := range drafts[1:] {
		more = append(more, fmt.Sprintf("%s (line %d)", u.Piece, u.Line))
	}
	if n := len(more) - draftsNamed; n > 1 {
		more = append(more[:draftsNamed], fmt.Sprintf("%d others", n))
	}
	detail := "A recipe without the word draft is rebuilt by every later engine, so it may use frozen pieces only: a draft may still change."
	if len(more) > 0 {
		detail += " Drafts too: " + strings.Join(more, ", ") + "."
	}
	return Diagnostic{Severity: Error, Code: "PM703", Span: drafts[0].Span, Summary: "the " + drafts[0].Piece + " isn't frozen yet", Detail: detail, Hints: []string{"write recipe 1 draft"}}
}

// state says in the reference how far a piece is; "" for what is none.
func state(piece string) string {
	p, ok := frozen.Find(piece)
	switch {
	case !ok:
		return ""
	case p.Frozen:
		return "\nFrozen: it stays as it is for good.\n"
	}
	return "\nDraft: it may still change, and needs recipe 1 draft.\n"
}
