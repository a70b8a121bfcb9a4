package plan

import (
	"fmt"
	"slices"

	"platemark/lang"
	"platemark/ops/colour"
)

// readerVersion is the version of the readers of masters, masks and profiles.
const readerVersion = 1

// pieces are the pieces of the language, each once, that the print's bytes depend
// on: the recipe's statements, and what the plan makes of them. What no line of the
// recipe asks for stands at its head, the file's own orientation at the master.
func (b *binder) pieces(pr *lang.Print) []lang.Use {
	p := b.plan
	uses := slices.Clone(b.shared.uses)
	use := func(at lang.Span, format string, v ...any) {
		uses = append(uses, lang.Use{Span: at, Piece: fmt.Sprintf(format, v...)})
	}
	for _, o := range b.others {
		uses = append(uses, o.Inputs.bound.uses...)
	}
	profile := func(at lang.Span, q *colour.Profile) {
		if q == nil {
			return
		}
		for _, n := range colour.SpaceNames() {
			if s, _ := colour.Space(n); s.Digest() == q.Digest() {
				use(at, "table profiles 1")
				use(at, "table spaces 1")
				return
			}
		}
		use(at, "reader icc %d", readerVersion)
	}
	for _, n := range p.Nodes {
		at := b.shared.spans[n.Line]
		if n.Recipe != 0 {
			at = b.rec.Head
		}
		if n.Input != nil {
			use(at, "reader %s %d", n.Input.Picture.Reader, readerVersion)
		} else {
			use(at, "operation %s %d", n.Op, n.Ver)
		}
		if k, ok := n.Args.Get("kernel"); ok {
			use(at, "kernel %s %d", k, n.Ver)
		}
		profile(at, n.Pic.Profile)
	}
	use(pr.Save.Span, "encoder %s %d", p.File.Format, encoderVersion)
	for _, always := range []string{"digest picture 1", "digest mark 1", "digest log 1", "table functions 1"} {
		use(b.rec.Head, "%s", always)
	}
	return lang.Distinct(uses)
}
