package plan

import (
	"fmt"
	"slices"

	"platemark/interp/master"
	"platemark/lang"
	"platemark/ops"
)

// A picture made elsewhere, such as an enlargement by other means, is used in place
// of the current picture (take) or with another one (blend). Its pixels don't say
// which part of the frame they show, so it has the size of a picture whose part is
// known, or the print's.

// take makes a named picture current.
func (w *walker) take(s *lang.Take) {
	if p, ok := w.picture(s.Name, w.cur, true); ok {
		w.cur = p
		w.b.atLine[s.Line] = p.node
	}
}

func (w *walker) blend(s *lang.Blend) {
	like, known := w.names[s.Over.Value]
	if !known {
		like, known = w.names[s.Top.Value]
	}
	if !known {
		like = w.cur
	}
	top, ok := w.picture(s.Top, like, !known)
	if !ok {
		return
	}
	if over, ok := w.picture(s.Over, like, !known); ok {
		w.add("blend", s, nil, over, top, over)
	}
}

// picture is the one of a name: of a step, or made elsewhere, brought to the
// colours of like. That has the size of like or, with atPrint, the print's.
func (w *walker) picture(name lang.Text, like pic, atPrint bool) (pic, bool) {
	if p, ok := w.names[name.Value]; ok {
		return p, true
	}
	b := w.b
	s := b.rec.Picture(name.Value)
	if s == nil {
		b.err(CodeStep, name.Span, fmt.Sprintf("no picture is named %s yet", name.Value), "")
		return pic{}, false
	}
	in := b.inputs.Get(master.RolePicture, s.Path)
	if in == nil {
		return pic{}, false
	}
	profile, ok := b.profileOf(in, s.Path, s.Space, "picture "+s.Name.Value)
	if !ok {
		return pic{}, false
	}
	n := b.input(s.Span, in, profile, w.stage)
	if o := in.Picture.Info().Orientation; o != 1 {
		if n, ok = b.node(s.Span, w.stage, "turn", argsOf("orientation", o), n); !ok {
			return pic{}, false
		}
		b.plan.Nodes[n].Text = fmt.Sprintf("stand %s upright, as the file's orientation %d says", name.Value, o)
	}
	is, want := b.plan.Nodes[n].Pic, b.plan.Nodes[like.node].Pic
	printed := atPrint && b.size != nil && is.W == b.size.w && is.H == b.size.h
	if (is.W != want.W || is.H != want.H) && !printed {
		w.otherSize(name, is, want, atPrint)
		return pic{}, false
	}
	if profile.Digest() != want.Profile.Digest() {
		b.report(lang.Note, CodePictureSpace, name.Span, fmt.Sprintf("%s is in %s and is brought into %s here", name.Value, profile.Description(), want.Profile.Description()),
			"The picture that it is used with is in those colours; relative intent, black points fitted.")
		if n, ok = b.node(s.Span, w.stage, "convert", argsOf("profile", b.profile(want.Profile), "intent", "relative", "black-point", "on"), n); !ok {
			b.diags[len(b.diags)-1].Code = CodeProfile
			return pic{}, false
		}
		b.plan.Nodes[n].Text = fmt.Sprintf("bring %s into %s", name.Value, want.Profile.Description())
	}
	return pic{n, like.covers}, true
}

func (w *walker) otherSize(name lang.Text, is, want ops.Pic, atPrint bool) {
	b := w.b
	here := fmt.Sprintf("the picture that it is used with %d x %d px", want.W, want.H)
	hint := fmt.Sprintf("make it %d x %d px, or use it in another line", want.W, want.H)
	if atPrint && b.size != nil && b.size.w > 0 {
		here = fmt.Sprintf("the picture here %d x %d px, the print %d x %d px", want.W, want.H, b.size.w, b.size.h)
		hint = fmt.Sprintf("make it %d x %d px, from the master as it is cropped here", b.size.w, b.size.h)
	}
	b.err(CodePicture, name.Span, fmt.Sprintf("%s is %d x %d px, %s", name.Value, is.W, is.H, here),
		"A picture made elsewhere is used pixel by pixel, so that it isn't scaled once more.", hint)
}

// smallElsewhere is the size in a plan run small of input i, made elsewhere: that
// of the picture that it is blended with, else its own by the same measure. pics
// are the small pictures before it, w and h the print's size.
func (p *Print) smallElsewhere(i int, pics []ops.Pic, cut, start ops.Pic, w, h int) (int, int) {
	// The steps of its own line stand it upright and bring it to other colours.
	end := i
	for k := i + 1; k < len(p.Nodes) && p.Nodes[k].Line == p.Nodes[i].Line && slices.Equal(p.Nodes[k].In, []int{end}); k++ {
		end = k
	}
	is := p.Nodes[end].Pic
	sw, sh := max(1, (is.W*start.W+cut.W/2)/cut.W), max(1, (is.H*start.H+cut.H/2)/cut.H)
	if is.W == p.Picture.W && is.H == p.Picture.H {
		sw, sh = w, h
	}
	if u := slices.IndexFunc(p.Nodes, func(n Node) bool { return n.Op == "blend" && (n.In[0] == end || n.In[1] == end) }); u >= 0 {
		for _, k := range p.Nodes[u].In[:2] {
			if k < i && pics[k].W > 0 {
				sw, sh = pics[k].W, pics[k].H
			}
		}
	}
	if is.W == p.Nodes[i].Pic.W {
		return sw, sh
	}
	return sh, sw // turned by its orientation
}
