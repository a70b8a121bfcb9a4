package proof

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

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
	{"contrast", "%", "contrast", 0.01, 0, 1, 40, false},
	{"warmth", " mired", "warmth", 1, 0, 1, 15, true},
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

// param is the word that the knob's line begins with.
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
	text, _ := lang.ReadSource("", src)
	block := strings.Join(toneBlock(paper, s), text.EOL())
	e := lang.Put(src, lang.BlockName{Kind: "prepare"}, 0, strings.TrimPrefix(block, "    "))
	if prepare := text.Prepare(); prepare != nil {
		if own := ownTone(rec, paper); own != nil {
			i := slices.IndexFunc(prepare.Blocks, func(b *lang.Block) bool { return b.Head.Line == own.Line })
			return lang.Apply(src, toneEdits(text, prepare.Blocks[i], s)...), own.Line
		}
		e.From, _ = text.WholeLines(prepare.Close.Tokens[0].Offset, prepare.Close.Tokens[0].End)
		e.To, e.Text = e.From, block+text.EOL()
		if above, _ := text.WholeLines(e.From-1, e.From-1); above > prepare.Head.Tokens[0].Offset && strings.TrimSpace(string(src[above:e.From])) != "" {
			e.Text = text.EOL() + e.Text
		}
	}
	line = 1 + strings.Count(string(src[:e.From])+e.Text[:strings.Index(e.Text, "tone")], "\n")
	return lang.Apply(src, e), line
}

// toneEdits puts a setting into the lines of its block; new ones come first.
func toneEdits(text *lang.Source, b *lang.Block, s setting) []lang.Edit {
	start, behind := text.WholeLines(b.Head.Tokens[0].Offset, b.Head.Tokens[0].End)
	indent := string(text.Text[start:b.Head.Tokens[0].Offset]) + "    "
	var out []lang.Edit
	for i, k := range knobs {
		at := slices.IndexFunc(b.Lines, func(l *lang.Line) bool { return l.Tokens[0].Value == k.param() })
		if at < 0 {
			if s[i] != 0 {
				out = append(out, lang.Edit{From: behind, To: behind, Text: indent + k.line(s[i]) + text.EOL()})
			}
			continue
		}
		l := b.Lines[at]
		e := lang.Edit{From: l.Tokens[0].Offset, To: l.Tokens[len(l.Tokens)-1].End, Text: k.line(s[i])}
		switch {
		case len(l.Comments) > 0:
			e.To = l.Comments[0].Offset
			e.Text += strings.Repeat(" ", max(45-l.Col-utf8.RuneCountInString(e.Text), 2))
		case s[i] == 0:
			e.From, e.To = text.WholeLines(e.From, e.To)
			e.Text = ""
		}
		out = append(out, e)
	}
	return out
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
