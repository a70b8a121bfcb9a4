package retouch

import (
	"cmp"
	"fmt"
	"image"
	"slices"
	"strings"

	"platemark/interp"
	"platemark/interp/inspect"
)

// Distance writes a distance in mm.
func Distance(mm float64) string {
	if mm < 995 {
		return fmt.Sprintf("%.0f cm", mm/10)
	}
	return fmt.Sprintf("%.1f m", mm/1000)
}

// SeenOn is the print that visibility speaks of, and from where it is seen.
func (l *Look) SeenOn() string {
	size, _, _ := strings.Cut(l.plan.Picture.String(), ",")
	on := "a print of " + size
	if l.job.File != "" {
		on = "print " + l.plan.Name + ", " + size
	}
	return on + ", from " + Distance(l.From)
}

var names = map[inspect.Kind]string{
	inspect.Hot: "hot pixel", inspect.Dead: "dead pixel", inspect.Dust: "dust", inspect.Hair: "hair", inspect.Fringe: "fringe",
	inspect.Posterised: "posterised", inspect.Halo: "halos", inspect.Blocks: "compression blocks", inspect.Banding: "banding",
}

// Name is what a find is, in words.
func (f Find) Name() string { return names[f.Kind] }

// How says how large a find is and how it stands out.
func (f Find) How() string {
	light := fmt.Sprintf("%.0f %% lighter", 100*f.Contrast)
	switch {
	case f.Contrast < 0:
		light = fmt.Sprintf("%.0f %% darker", -100*f.Contrast)
	case f.Contrast >= 1:
		light = fmt.Sprintf("%.0f times as light", 1+f.Contrast)
	}
	switch f.Kind {
	case inspect.Fringe:
		return fmt.Sprintf("%.0f px wide, hue %.0f to %.0f deg, colour off by %.0f", f.Width, f.HueFrom, f.HueTo, f.Contrast)
	case inspect.Hair:
		return fmt.Sprintf("%.0f px wide, %.0f x %.0f px, %s", f.Width, f.W, f.H, light)
	}
	return fmt.Sprintf("%.0f px across, %s", max(f.Width, 1), light)
}

// MoreWords says how many finds of each kind were left out.
func (l *Look) MoreWords() (out []string) {
	n := map[inspect.Kind]int{}
	for _, m := range l.More {
		n[m.Kind] += m.Count
	}
	for _, k := range []inspect.Kind{inspect.Hot, inspect.Dead, inspect.Dust, inspect.Hair, inspect.Fringe} {
		if n[k] > 0 {
			s := fmt.Sprintf("%s: and %d more like these", names[k], n[k])
			if k == inspect.Hot || k == inspect.Dead {
				s += "; `spot pixels over 12%` in prepare mends such pixels wherever they are"
			}
			out = append(out, s)
		}
	}
	return out
}

// Words says what larger parts of the picture suffer from, how noisy it is and
// where it is sharp, a line each.
func (l *Look) Words() (out []string) {
	clipped := func(what string, c inspect.Clipped) {
		if c.Share > 0 {
			s := fmt.Sprintf("%s: clipped in %s of the picture", what, interp.ShareText(c.Share))
			if c.Whole > 0 {
				s += fmt.Sprintf(", in all channels %s", interp.ShareText(c.Whole))
			}
			if len(c.Parts) > 0 {
				s += ", most of it round " + l.place(c.Parts[0].In)
			}
			out = append(out, s)
		}
	}
	clipped("highlights", l.Highlights)
	clipped("shadows", l.Shadows)
	faults := slices.Clone(l.Faults)
	slices.SortStableFunc(faults, func(a, b inspect.Fault) int { return cmp.Compare(b.Share, a.Share) })
	for _, f := range faults {
		how := map[inspect.Kind]string{inspect.Posterised: "steps", inspect.Halo: "rims", inspect.Blocks: "seams", inspect.Banding: "stripes"}[f.Kind]
		where := ""
		if f.In.Dx() < l.W/2 || f.In.Dy() < l.H/2 {
			where = ", round " + l.place(f.In)
		}
		out = append(out, fmt.Sprintf("%s: %s of %s of full scale in %s of the picture%s", names[f.Kind], how, interp.PercentText(f.Amount), interp.ShareText(f.Share), where))
	}
	if noise := slices.DeleteFunc(slices.Clone(l.Noise.Light[:]), func(v float64) bool { return v <= 0 }); len(noise) > 0 {
		text := "noise: " + interp.PercentText(slices.Min(noise))
		if most := interp.PercentText(slices.Max(noise)); !strings.HasSuffix(text, most) {
			text += " to " + most
		}
		out = append(out, text+" of full scale, by the tone")
	}
	if s := l.Sharpness; len(s.Focus) > 0 {
		t := fmt.Sprintf("sharpness: sharpest round %s, edges %.1f px wide", l.place(s.Focus[0].In), s.Focus[0].Amount)
		if len(s.Soft) > 0 {
			t += fmt.Sprintf("; soft round %s, %.1f px", l.place(s.Soft[0].In), s.Soft[0].Amount)
		}
		out = append(out, t)
	}
	return out
}

// place is the middle of a part of the picture in % of the frame.
func (l *Look) place(r image.Rectangle) string {
	x, y := l.frame.at(inspect.Point{X: float64(r.Min.X+r.Max.X) / 2, Y: float64(r.Min.Y+r.Max.Y) / 2})
	return fmt.Sprintf("(%.0f%%, %.0f%%)", 100*x/l.frame.w, 100*y/l.frame.h)
}
