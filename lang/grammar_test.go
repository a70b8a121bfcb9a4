package lang

import (
	"math/rand"
	"strings"
	"testing"
)

// line makes a line of a form: sometimes right, sometimes with a token left
// out, doubled, swapped or replaced.
func line(r *rand.Rand, f *Form) []string {
	var out []string
	if f.Word != "" {
		out = append(out, f.Word)
	}
	measure := func(s *Slot) []string {
		u := []string{"px"}
		if len(s.Ranges) > 0 {
			u = s.units()
		}
		if v := u[r.Intn(len(u))]; v != "" {
			return []string{"3", v}
		}
		return []string{"3"} // bare by rule
	}
	point := func(s *Slot) []string {
		p := append([]string{"("}, measure(s)...)
		p = append(append(p, ","), measure(s)...)
		return append(p, ")")
	}
	for i := range f.Slots {
		s := &f.Slots[i]
		if s.Optional && r.Intn(2) == 0 {
			continue
		}
		if s.Word != "" {
			out = append(out, s.Word)
		}
		switch s.Kind {
		case ValueCount:
			out = append(out, "7")
		case ValueMeasure:
			out = append(out, measure(s)...)
		case ValuePair:
			out = append(append(append(out, measure(s)...), "x"), measure(s)...)
		case ValuePoint:
			out = append(out, point(s)...)
		case ValuePoints:
			out = append(out, point(s)...)
			for r.Intn(2) == 0 {
				out = append(append(out, ","), point(s)...)
			}
		case ValueRatio:
			out = append(out, "3:2")
		case ValueText, ValuePath:
			out = append(out, `"text"`)
		case ValueName:
			out = append(out, "reeds")
		case ValueWord:
			out = append(out, s.Words[r.Intn(len(s.Words))])
		case ValueSpace:
			out = append(out, Spaces[r.Intn(len(Spaces))])
		case ValueKernel:
			out = append(out, Kernels[r.Intn(len(Kernels))])
		case ValueTarget:
			out = append(out, []string{"harbour", Spaces[r.Intn(len(Spaces))]}[r.Intn(2)])
		case ValueList:
			out = append(out, s.Words[r.Intn(len(s.Words))])
			for r.Intn(2) == 0 {
				out = append(out, ",", s.Words[r.Intn(len(s.Words))])
			}
		case ValueColour:
			out = append(out, [][]string{{"white"}, {"black"}, {"grey", "50"}}[r.Intn(3)]...)
		}
		if s.Tail != "" {
			out = append(out, s.Tail)
		}
	}
	if f.Opens {
		out = append(out, "{")
	}
	return out
}

func spoil(r *rand.Rand, w []string) []string {
	w = append([]string{}, w...)
	pool := []string{"at", "to", "radius", "soft", "as", "through", "7", "px", "%", "(", ")", ",", "x", `"s"`, "name", "linear", "sRGB", "3:2", "wide", "within", "profile", "on", "{", "quality", "light"}
	for n := r.Intn(3); n > 0 && len(w) > 1; n-- {
		i := 1 + r.Intn(len(w)-1)
		switch r.Intn(4) {
		case 0:
			w = append(w[:i], w[i+1:]...)
		case 1:
			w = append(w[:i], append([]string{pool[r.Intn(len(pool))]}, w[i:]...)...)
		case 2:
			w[i] = pool[r.Intn(len(pool))]
		case 3:
			j := 1 + r.Intn(len(w)-1)
			w[i], w[j] = w[j], w[i]
		}
	}
	return w
}

// The grammar and the table of forms must take the same lines: the one builds
// the tree, the other tells what is wrong.
func TestGrammarAndFormsTakeTheSameLines(t *testing.T) {
	buildGrammars()
	r := rand.New(rand.NewSource(1))
	right, wrong := 0, 0
	for n := 0; n < 30000; n++ {
		f := &Forms[r.Intn(len(Forms))]
		block := f.Blocks[r.Intn(len(f.Blocks))]
		text := strings.Join(spoil(r, line(r, f)), " ")
		s, _ := ReadSource("", []byte(text))
		if len(s.Lines) != 1 || s.Lines[0].Broken || len(s.Lines[0].Tokens) == 0 {
			continue
		}
		toks := s.Lines[0].Tokens
		start := 1
		if f.Word == "" {
			start = 0
		}
		fits := false
		for _, x := range formsOf(f.Word, block) {
			_, fl := matchForm(x, toks, start)
			fits = fits || fl == nil
		}
		if isWord(toks, 0, "") || f.Word != "" && !isWord(toks, 0, f.Word) {
			continue
		}
		var err error
		switch {
		case block == "top":
			_, err = parseTokens(grammars.top, toks)
		case block == "mask":
			_, err = parseTokens(grammars.mask, toks)
		case block == "inputs":
			_, err = parseTokens(grammars.input, toks)
		case block == "paper":
			_, err = parseTokens(grammars.paper, toks)
		case block == "lab":
			_, err = parseTokens(grammars.lab, toks)
		case block == "tone":
			_, err = parseTokens(grammars.tone, toks)
		case contains([]string{"edition", "size", "save", "border", "wrap"}, f.Word):
			_, err = parseTokens(grammars.print, toks)
		default:
			_, err = parseTokens(grammars.step, toks)
		}
		if (err == nil) != fits {
			t.Fatalf("%s: the grammar says %v, the forms %v", text, err, fits)
		}
		if fits {
			right++
		} else {
			wrong++
		}
	}
	if right < 5000 || wrong < 5000 {
		t.Errorf("only %d right and %d wrong lines", right, wrong)
	}
}

// Every word of the grammar is reserved, so that no name can hide it.
func TestGrammarWordsAreReserved(t *testing.T) {
	for _, q := range strings.Split(grammarText(), `"`) {
		if goodName(q) && !Reserved(q) {
			t.Errorf("%q isn't reserved", q)
		}
	}
	if Reserved("crisp") || !Reserved("tone") || !Reserved("mitchell") {
		t.Error("reserved words are wrong")
	}
}

func TestGrammarOfWholeRecipe(t *testing.T) {
	if parts := strings.Count(grammarText(), " = "); parts < 20 {
		t.Errorf("grammar has %d rules", parts)
	}
}
