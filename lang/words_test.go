package lang

import (
	"maps"
	"math/rand"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// leaves are what a tree says, by the place of its first token: words, names
// and texts as they are, measures as number and unit.
func leaves(v reflect.Value, out map[[2]int]string) {
	put := func(s Span, value string) {
		if s.Line > 0 { // not a default
			out[[2]int{s.Line, s.Col}] = value
		}
	}
	switch x := v.Interface().(type) {
	case Text:
		put(x.Span, x.Value)
		return
	case Number:
		put(x.Span, x.Value.RatString())
		return
	case Measure:
		put(x.Span, strings.TrimSpace(x.Value.RatString()+" "+x.Unit))
		return
	case Ratio:
		put(x.Span, x.W.RatString()+":"+x.H.RatString())
		return
	case Colour:
		if x.Word == "grey" {
			put(x.Span, "grey "+x.Lightness.RatString())
		} else {
			put(x.Span, x.Word)
		}
		return
	case CurvePoint: // its numbers have no places of their own
		put(x.Span, x.X.RatString()+" "+x.Y.RatString())
		return
	}
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			leaves(v.Elem(), out)
		}
	case reflect.Slice:
		for i := range v.Len() {
			leaves(v.Index(i), out)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			leaves(v.Field(i), out)
		}
	}
}

// valueTokens are the same as the tokens of the lines say it.
func valueTokens(t *testing.T, src []byte, out map[[2]int]string) {
	for _, l := range ReadOutline(src).Top.statements() {
		form, binds := l.bind()
		if form.Word == "recipe" { // its version has no place in the tree
			continue
		}
		for _, b := range binds {
			if f := b.param.fields; len(f) > 0 && f[0].Type.Kind() == reflect.Bool { // a yes in the tree
				continue
			}
			toks := l.Tokens[b.from:b.to]
			for i := 0; i < len(toks); i++ {
				k := toks[i]
				at, value := [2]int{k.Line, k.Col}, k.Value
				switch k.Kind {
				case KindPunct:
					if value != "(" || l.In.Kind != "tone" {
						continue
					}
					out[at] = rat(toks[i+1].Value).RatString() + " " + rat(toks[i+3].Value).RatString()
					i += 4
					continue
				case KindNumber:
					value = rat(value).RatString()
					if i+1 < len(toks) && toks[i+1].Kind == KindUnit {
						i++
						value += " " + toks[i].Value
					} else if b.param.Kind == valuePair {
						value += " " + toks[len(toks)-1].Value // 60 x 40 in
					}
				case KindRatio:
					w, h, _ := strings.Cut(value, ":")
					value = rat(w).RatString() + ":" + rat(h).RatString()
				case KindWord:
					if value == "x" {
						continue
					}
					if value == "grey" {
						i++
						value += " " + rat(toks[i].Value).RatString()
					}
				}
				out[at] = value
			}
		}
	}
}

// What stands on the lines of a right recipe stands in its tree, at the same
// places, and nothing else does: none is lost or made up.
func TestTreeSaysWhatTheLinesSay(t *testing.T) {
	srcs := slices.Collect(maps.Values(rightFiles(t)))
	for seed := range int64(60) {
		g := &gen{r: rand.New(rand.NewSource(seed))}
		srcs = append(srcs, []byte(strings.Join(g.recipe(t), "\n")))
	}
	for _, src := range srcs {
		rec, ds := Parse("right.recipe", src)
		if HasErrors(ds) {
			t.Fatalf("%v", ds)
		}
		tree, lines := map[[2]int]string{}, map[[2]int]string{}
		leaves(reflect.ValueOf(rec), tree)
		valueTokens(t, src, lines)
		for at, v := range lines {
			if tree[at] != v {
				t.Fatalf("line %d, column %d says %q, the tree %q\n%s", at[0], at[1], v, tree[at], rows(src)[at[0]-1])
			}
		}
		for at, v := range tree {
			if _, ok := lines[at]; !ok {
				t.Fatalf("the tree says %q, line %d, column %d doesn't\n%s", v, at[0], at[1], rows(src)[at[0]-1])
			}
		}
	}
}
