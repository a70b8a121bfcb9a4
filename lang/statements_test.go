package lang

import (
	"math/rand"
	"regexp"
	"strings"
	"testing"
)

// line makes a line of a statement: sometimes right, sometimes with a token left
// out, doubled, swapped or replaced.
func line(r *rand.Rand, f *Statement) []string {
	var out []string
	if f.Word != "" {
		out = append(out, f.Word)
	}
	measure := func(s *Param) []string {
		u := []string{"px"}
		if len(s.Ranges) > 0 {
			u = s.units()
		}
		if v := u[r.Intn(len(u))]; v != "" {
			return []string{"3", v}
		}
		return []string{"3"} // bare by rule
	}
	point := func(s *Param) []string {
		p := append([]string{"("}, measure(s)...)
		p = append(append(p, ","), measure(s)...)
		return append(p, ")")
	}
	for i := range f.Params {
		s := &f.Params[i]
		if s.Optional && r.Intn(2) == 0 {
			continue
		}
		if s.Word != "" {
			out = append(out, s.Word)
		}
		switch s.Kind {
		case valueCount:
			out = append(out, "7")
		case valueMeasure:
			out = append(out, measure(s)...)
		case valuePair:
			out = append(append(append(out, measure(s)...), "x"), measure(s)...)
		case valuePoint:
			out = append(out, point(s)...)
		case valuePoints:
			out = append(out, point(s)...)
			for r.Intn(2) == 0 {
				out = append(append(out, ","), point(s)...)
			}
		case valueRatio:
			out = append(out, "3:2")
		case valueText, valuePath:
			out = append(out, `"text"`)
		case valueName:
			out = append(out, "reeds")
		case valueWord:
			out = append(out, s.Words[r.Intn(len(s.Words))])
		case valueSpace:
			out = append(out, Spaces[r.Intn(len(Spaces))])
		case valueKernel:
			out = append(out, Kernels[r.Intn(len(Kernels))])
		case valueTarget:
			out = append(out, []string{"harbour", Spaces[r.Intn(len(Spaces))]}[r.Intn(2)])
		case valueList:
			out = append(out, s.Words[r.Intn(len(s.Words))])
			for r.Intn(2) == 0 {
				out = append(out, ",", s.Words[r.Intn(len(s.Words))])
			}
		case valueColour:
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

// Whatever a line is, exactly one of two happens: a statement takes it whole,
// and its node says it (TestTreeSaysWhatTheLinesSay), or every way to write it
// says what it waits for.
func TestLinesFitOrSayWhatIsDue(t *testing.T) {
	r := rand.New(rand.NewSource(1))
	right, wrong := 0, 0
	for range 30000 {
		f := Statements()[r.Intn(len(Statements()))]
		text := strings.Join(spoil(r, line(r, f)), " ")
		s, _ := ReadSource("", []byte(text))
		if len(s.Lines) != 1 || s.Lines[0].Broken || len(s.Lines[0].Tokens) == 0 || f.Word != "" && !isWord(s.Lines[0].Tokens, 0, f.Word) {
			continue
		}
		toks, start := s.Lines[0].Tokens, 1
		if f.Word == "" {
			start = 0
		}
		for _, x := range statementsOf(f.Word, f.Blocks[0]) {
			binds, fail := x.match(toks, start)
			if fail != nil {
				wrong++
				if len(fail.want) == 0 || fail.at > len(toks) {
					t.Fatalf("%s: %+v", text, fail)
				}
				continue
			}
			right++
			at := start
			for _, b := range binds { // nothing lies between two parameters
				if b.at != at {
					t.Fatalf("%s: %+v", text, binds)
				}
				if at = b.to; b.param.Tail != "" {
					at++
				}
			}
			if x.Opens {
				at++
			}
			if at != len(toks) {
				t.Fatalf("%s: %d of %d tokens", text, at, len(toks))
			}
			x.fill(binds, &s.Lines[0])
		}
	}
	if right < 5000 || wrong < 5000 {
		t.Errorf("only %d right and %d wrong lines", right, wrong)
	}
}

// Every word of a statement is reserved, so that no name can hide it.
func TestWordsOfStatementsAreReserved(t *testing.T) {
	for _, s := range Statements() {
		for _, w := range strings.Fields(regexp.MustCompile(`[^a-z0-9-]+`).ReplaceAllString(s.Usage(), " ")) {
			if goodName(w) && !Reserved(w) {
				t.Errorf("%q isn't reserved", w)
			}
		}
	}
	if Reserved("crisp") || !Reserved("tone") || !Reserved("mitchell") {
		t.Error("reserved words are wrong")
	}
}
