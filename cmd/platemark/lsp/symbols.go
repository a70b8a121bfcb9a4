package lsp

import (
	"context"

	"platemark/lang"
)

// symbols lists the blocks of a recipe, with the pictures named in them.
func (s *server) symbols(_ context.Context, t *text, _ docParams) (any, error) {
	o := lang.ReadOutline(t.src)
	out := []symbol{}
	for _, b := range o.Top.Blocks {
		head := b.Head.Tokens[0]
		x := symbol{Name: head.Value, Kind: symbolOf(b.Kind), Range: t.span(b.Bytes()), Selection: t.span(head.Offset, head.End)}
		if b.Name != nil {
			x.Name, x.Detail = b.Name.Value, head.Value
			x.Selection = t.span(b.Name.Offset, b.Name.End)
		}
		for _, n := range o.Names {
			if n.Block == b && n.Of == lang.NamePicture && n.Gives {
				at := t.span(n.Offset, n.End)
				x.Children = append(x.Children, symbol{Name: n.Value, Detail: "picture", Kind: symbolVariable, Range: at, Selection: at})
			}
		}
		out = append(out, x)
	}
	return out, nil
}

func symbolOf(block string) int {
	switch block {
	case "mask", "paper", "lab":
		return symbolObject
	case "prepare":
		return symbolEvent
	case "steps":
		return symbolFunction
	case "print":
		return symbolFile
	}
	return symbolArray
}
