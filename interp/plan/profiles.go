package plan

import (
	"fmt"
	"strings"

	"platemark/interp/master"
	"platemark/lang"
	"platemark/ops/colour"
)

// profileOf says what the colours of an input mean, whose line begins with head
// and names its file and, perhaps, its space.
func (b *binder) profileOf(in *master.Input, path lang.Text, named *lang.Text, head string) (*colour.Profile, bool) {
	info := in.Picture.Info()
	var p *colour.Profile
	switch {
	case info.ICC == nil && named == nil:
		space, words := master.Untagged(info.Channels, info.Bits, "")
		b.err(CodeUntagged, path.Span, fmt.Sprintf("%s doesn't say what its colours mean: it carries no profile", path.Value),
			"Guessing a colour space can shift every colour of a print without a word.",
			fmt.Sprintf("write its space: %s (%s); %s", master.RecipeLine(head, path.Value, space), master.SpacesText(info.Channels), words))
		return nil, false
	case info.ICC == nil:
		p, _ = colour.Space(named.Value)
	default:
		var err error
		if p, err = in.Picture.Profile(); err != nil {
			b.err(CodeProfile, path.Span, fmt.Sprintf("the profile in %s can't be used: %v", path.Value, err), "",
				"convert it to a matrix profile such as opRGB or ROMM-RGB in the program that made it, and save it again")
			return nil, false
		}
		if named != nil {
			b.err(CodeUntagged, named.Span, fmt.Sprintf("%s carries a profile of its own, %q, and the line says %s", path.Value, p.Description(), named.Value),
				"Two answers to what the colours mean: one must go.",
				fmt.Sprintf("remove `space %s` to read the picture as its file says", named.Value))
			return nil, false
		}
	}
	if p == nil {
		b.err(CodeProfile, named.Span, fmt.Sprintf("there is no space named %s", named.Value), "", "spaces: "+strings.Join(colour.SpaceNames(), ", "))
		return nil, false
	}
	if p.Channels() != info.Channels {
		b.err(CodeProfile, path.Span, fmt.Sprintf("%s is %s, but its profile %q is for %s", path.Value, master.ChannelWord(info.Channels), p.Description(), master.ChannelWord(p.Channels())), "",
			"save it again with a profile that fits, or without one and with `space` in the recipe")
		return nil, false
	}
	b.profile(p)
	return p, true
}

func (b *binder) profile(p *colour.Profile) string {
	s := p.Digest().String()
	b.env.Profiles[s] = p
	return s
}
