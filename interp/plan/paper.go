package plan

import (
	"fmt"

	"platemark/interp/master"
	"platemark/lang"
	"platemark/ops/colour"
)

// PaperProfile is a paper's profile as far as it can be read, nil otherwise. A
// print on a paper needs the file only where it is converted to it.
func (s *Inputs) PaperProfile(p *lang.Paper) *colour.Profile {
	if p.Profile == nil {
		return nil
	}
	if in := s.open[InputName{master.RoleProfile, p.Profile.Value}]; in != nil {
		return in.Profile
	}
	in, err := master.Glance(s.ctx, master.RoleProfile, p.Profile.Value, s.Where(master.RoleProfile, p.Profile.Value), false)
	if err != nil {
		return nil
	}
	defer in.Close()
	return in.Profile
}

// CheckPapers warns of papers whose profile isn't one of a print.
func (s *Inputs) CheckPapers() {
	for _, p := range s.rec.Papers {
		prof := s.PaperProfile(p)
		if prof == nil || prof.Class() == "output" {
			continue
		}
		what := map[string]string{"display": "a display or working space", "input": "a camera or scanner"}[prof.Class()]
		if what == "" {
			what = "a working space"
		}
		s.Diags = append(s.Diags, lang.Diagnostic{Severity: lang.Warning, Code: CodePaperProfile, Span: p.Profile.Span,
			Summary: fmt.Sprintf("the profile of paper %s is that of %s (%s)", p.Name.Value, what, prof.Description()),
			Detail:  "Its black is 0 and it knows no ink, so a proof shows no difference, whatever the paper does.",
			Hints:   []string{"name the profile that the paper's maker or the lab gives for this paper and printer"}})
	}
}

// paperFits complains where a colour picture meets the profile of a grey print.
func (b *binder) paperFits(at lang.Span, p *lang.Paper, prof *colour.Profile, channels int) bool {
	if prof == nil || prof.Channels() != 1 || channels == 1 {
		return true
	}
	b.err(CodePaperProfile, at, fmt.Sprintf("the profile of paper %s is grey (%s), and this print is in colour", p.Name.Value, prof.Description()),
		"The print would lose its colours without a word.",
		"name the paper's profile for colour prints, or make the picture grey first, with a line such as mix red 30% green 60% blue 10%")
	return false
}
