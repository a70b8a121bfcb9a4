package interp

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"platemark/interp/plan"
	"platemark/lang"
)

// knob is a parameter of a tone block that a fit turns: a whole number of
// readable steps.
type knob struct {
	word, unit string
	arg        string  // in ops.Args
	step       float64 // of the argument, for one readable step
	decimals   int     // of the readable value
	shown      float64 // readable value of one step
	most       int     // steps either way
	colour     bool    // has no meaning in a grey picture
}

// knobs are in the order of a tone block. Their ranges are narrow: a block that
// needs more is a matter for the photographer.
var knobs = []knob{
	{"exposure", " stops", "exposure", 0.01, 2, 0.01, 100, false},
	{"warmth", " mired", "warmth", 1, 0, 1, 15, true},
	{"contrast", "%", "contrast", 0.01, 0, 1, 40, false},
	{"chroma", "%", "chroma", 0.01, 0, 1, 30, true},
	{"muted chroma", "%", "muted", 0.01, 0, 1, 30, true},
}

// setting is a number of steps for each knob.
type setting [5]int

func (s setting) zero() bool { return s == setting{} }

// line is a knob's line of a recipe, without indent.
func (k knob) line(steps int) string {
	v := fmt.Sprintf("%+.*f", k.decimals, float64(steps)*k.shown)
	if steps == 0 {
		v = "0"
	}
	return fmt.Sprintf("%-15s%s%s", k.word, v, k.unit)
}

// param is the knob's name in lang.ToneLine.
func (k knob) param() string { word, _, _ := strings.Cut(k.word, " "); return word }

// toneBlock is the text of a block, four spaces deep, as the canonical form
// has it.
func toneBlock(paper string, s setting) []string {
	out := []string{"    tone for " + paper + " {"}
	for i, k := range knobs {
		if s[i] != 0 {
			out = append(out, "        "+k.line(s[i]))
		}
	}
	return append(out, "    }")
}

// ownTone is the block that a fit may write over: the last one of prepare for
// this paper, without a mask.
func ownTone(rec *lang.Recipe, paper string) *lang.Tone {
	var own *lang.Tone
	if rec.Prepare != nil {
		for _, s := range rec.Prepare.Steps {
			if t, ok := s.(*lang.Tone); ok && t.For != nil && t.For.Value == paper && t.Through == nil {
				own = t
			}
		}
	}
	return own
}

// setTone puts a setting into a recipe's text: into the block that ownTone
// finds, whose other lines and comments stay, else into a new block at the end
// of prepare. line is the block's first line in the new text.
func setTone(src []byte, rec *lang.Recipe, paper string, s setting) (out []byte, line int) {
	end := "\n"
	lines := strings.SplitAfter(string(src), "\n")
	if strings.HasSuffix(lines[0], "\r\n") {
		end = "\r\n"
	}
	statement := func(i int) (text, comment string) {
		l := strings.TrimRight(lines[i], "\r\n")
		if c := plan.CommentStart(l); c >= 0 {
			return l[:c], l[c:]
		}
		return l, ""
	}
	closing := func(from int) int {
		for i := from; i < len(lines); i++ {
			if t, _ := statement(i); strings.TrimSpace(t) == "}" {
				return i
			}
		}
		return len(lines)
	}
	if t := ownTone(rec, paper); t != nil {
		head := t.Line - 1
		text, _ := statement(head)
		indent := text[:len(text)-len(strings.TrimLeft(text, " \t"))] + "    "
		var fresh []string
		for i, k := range knobs {
			at := slices.IndexFunc(t.Lines, func(l lang.ToneLine) bool { return l.Param == k.param() })
			switch {
			case at < 0:
				if s[i] != 0 {
					fresh = append(fresh, indent+k.line(s[i])+end)
				}
			default:
				n := t.Lines[at].Line - 1
				old, comment := statement(n)
				l := old[:len(old)-len(strings.TrimLeft(old, " \t"))] + k.line(s[i])
				switch {
				case comment != "":
					l += strings.Repeat(" ", max(44-utf8.RuneCountInString(l), 2)) + comment + end
				case s[i] == 0:
					l = ""
				default:
					l += end
				}
				lines[n] = l
			}
		}
		lines[head] += strings.Join(fresh, "")
		return []byte(strings.Join(lines, "")), t.Line
	}
	block := strings.Join(toneBlock(paper, s), end) + end
	if p := rec.Prepare; p != nil {
		// The blocks inside prepare close before it does.
		at := p.Line
		for _, st := range p.Steps {
			at = max(at, st.Where().EndLine)
			if t, ok := st.(*lang.Tone); ok {
				at = closing(t.Line) + 1
			}
		}
		at = closing(at)
		line = at + 1
		if before, _ := statement(at - 1); at > p.Line && strings.TrimSpace(lines[at-1]) != "" && before != "" {
			block, line = end+block, line+1
		}
		return []byte(strings.Join(lines[:at], "") + block + strings.Join(lines[at:], "")), line
	}
	// Before the first block of steps or print, above the comment over it.
	at := len(lines)
	for _, b := range rec.Series {
		at = min(at, b.Line-1)
	}
	for _, p := range rec.Prints {
		at = min(at, p.Line-1)
	}
	for at > 0 && strings.HasPrefix(strings.TrimSpace(lines[at-1]), "#") {
		at--
	}
	block = "prepare {" + end + block + "}" + end + end
	line = at + 2
	if at > 0 && strings.TrimSpace(lines[at-1]) != "" {
		block, line = end+block, line+1
	}
	return []byte(strings.Join(lines[:at], "") + block + strings.Join(lines[at:], "")), line
}

// clamp holds a setting in its ranges.
func (s setting) clamp() setting {
	for i, k := range knobs {
		s[i] = max(-k.most, min(k.most, s[i]))
	}
	return s
}

// scaled is the setting weakened, in whole steps.
func (s setting) scaled(by float64) setting {
	for i := range s {
		s[i] = int(math.Round(by * float64(s[i])))
	}
	return s
}
