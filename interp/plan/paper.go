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
	prof, _ := s.paperProfile(p)
	return prof
}

// paperProfile is PaperProfile, and why it can't be read, if nobody was told yet.
func (s *Inputs) paperProfile(p *lang.Paper) (*colour.Profile, error) {
	if p.Profile == nil {
		return nil, nil
	}
	in, told := s.open[InputName{master.RoleProfile, p.Profile.Value}]
	if in != nil {
		return in.Profile, nil
	}
	in, err := master.Glance(s.ctx, master.RoleProfile, p.Profile.Value, s.Where(master.RoleProfile, p.Profile.Value), false)
	switch {
	case err == nil:
		defer in.Close()
		return in.Profile, nil
	case told:
		return nil, nil
	}
	return nil, err
}

// CheckPapers warns of papers whose profile isn't one of a print, and notes those whose
// profile can't be read, which no print needs and a proof will.
func (s *Inputs) CheckPapers() {
	for _, p := range s.rec.Papers {
		prof, err := s.paperProfile(p)
		if err != nil {
			n := len(s.Diags)
			s.failed(master.RoleProfile, *p.Profile, s.Where(master.RoleProfile, p.Profile.Value), err)
			for i := range s.Diags[n:] {
				s.Diags[n+i].Severity = lang.Note
				s.Diags[n+i].Summary = fmt.Sprintf("paper %s can't be proofed: %s", p.Name.Value, s.Diags[n+i].Summary)
			}
		}
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
