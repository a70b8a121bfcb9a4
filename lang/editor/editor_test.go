package editor

import (
	"encoding/json"
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"platemark/lang"
)

type rule struct {
	Name     string `json:"name"`
	Match    string `json:"match"`
	Begin    string `json:"begin"`
	End      string `json:"end"`
	Include  string `json:"include"`
	Patterns []rule `json:"patterns"`
	Captures map[string]struct {
		Name string `json:"name"`
	} `json:"captures"`

	match, end *regexp.Regexp
	scopes     []string // of the groups
}

type grammar struct {
	Scope      string          `json:"scopeName"`
	FileTypes  []string        `json:"fileTypes"`
	Patterns   []rule          `json:"patterns"`
	Repository map[string]rule `json:"repository"`
}

// flat resolves includes and compiles: the rules in the order of the grammar.
func (g *grammar) flat(t *testing.T, rules []rule) []rule {
	var out []rule
	for _, r := range rules {
		if r.Include != "" {
			x, ok := g.Repository[strings.TrimPrefix(r.Include, "#")]
			if !ok {
				t.Fatalf("no %s", r.Include)
			}
			out = append(out, g.flat(t, []rule{x})...)
			continue
		}
		if r.Match == "" && r.Begin == "" {
			out = append(out, g.flat(t, r.Patterns)...)
			continue
		}
		var err error
		if r.match, err = regexp.Compile(r.Match + r.Begin); err != nil {
			t.Fatal(err)
		}
		if r.Begin != "" {
			if r.end, err = regexp.Compile(r.End); err != nil {
				t.Fatal(err)
			}
			r.Patterns = g.flat(t, r.Patterns)
		}
		for i := range r.match.NumSubexp() {
			r.scopes = append(r.scopes, r.Captures[string(rune('1'+i))].Name)
		}
		out = append(out, r)
	}
	return out
}

func read(t *testing.T) (*grammar, []rule) {
	t.Helper()
	var g grammar
	if err := json.Unmarshal(Grammar(), &g); err != nil {
		t.Fatal(err)
	}
	return &g, g.flat(t, g.Patterns)
}

// find is the first match of a pattern from byte at on, as an editor finds it:
// the text before counts for word boundaries and the line's start.
func find(re *regexp.Regexp, line string, at int) []int {
	for _, m := range re.FindAllStringSubmatchIndex(line, -1) {
		if m[0] >= at {
			return m
		}
	}
	return nil
}

// tokens colours one line: of the rules that match, the earliest place wins,
// then the order of the grammar.
func tokens(rules []rule, line string) [][2]string {
	var out [][2]string
	put := func(text, scope string) {
		if scope != "" && text != "" {
			out = append(out, [2]string{text, strings.TrimSuffix(scope, ".platemark")})
		}
	}
	for at := 0; at < len(line); {
		var best []int
		var by rule
		for _, r := range rules {
			if m := find(r.match, line, at); m != nil && (best == nil || m[0] < best[0]) {
				best, by = m, r
			}
		}
		if best == nil {
			break
		}
		end := best[1]
		switch {
		case by.end != nil:
			stop := end
			for stop < len(line) && line[stop] != '"' {
				if line[stop] == '\\' {
					stop++
				}
				stop++
			}
			end = min(stop+1, len(line))
			put(line[best[0]:end], by.Name)
		case by.Name != "":
			put(line[best[0]:end], by.Name)
		default:
			for i, s := range by.scopes {
				if a := best[2+2*i]; a >= 0 {
					put(line[a:best[3+2*i]], s)
				}
			}
		}
		if end == best[0] {
			end++
		}
		at = end
	}
	return out
}

func TestEveryWordIsColoured(t *testing.T) {
	g, rules := read(t)
	if g.Scope != "source.platemark" || !reflect.DeepEqual(g.FileTypes, []string{"recipe"}) {
		t.Errorf("%s %v", g.Scope, g.FileTypes)
	}
	for _, w := range lang.Words() {
		for _, line := range []string{w, "x " + w + " x", "4 " + w} {
			found := false
			for _, k := range tokens(rules, line) {
				found = found || k[0] == w && !strings.HasPrefix(k[1], "variable") && !strings.HasPrefix(k[1], "entity")
			}
			if !found {
				t.Errorf("%q in %q is coloured as %v", w, line, tokens(rules, line))
			}
		}
	}
	for _, u := range lang.Units {
		if got := tokens(rules, "4 "+u); len(got) != 2 || got[1] != [2]string{u, "keyword.other.unit"} {
			t.Errorf("%v", got)
		}
	}
	for _, f := range lang.Statements() {
		if f.Word == "" {
			continue
		}
		got := tokens(rules, "    "+f.Word)
		if len(got) != 1 || got[0] != [2]string{f.Word, "keyword.control"} {
			t.Errorf("%s at a line's beginning is coloured as %v", f.Word, got)
		}
	}
}

// The patterns hold no word that the language doesn't.
func TestNoWordIsInvented(t *testing.T) {
	g, _ := read(t)
	var all func(rules []rule)
	all = func(rules []rule) {
		for _, r := range rules {
			all(r.Patterns)
			for _, list := range regexp.MustCompile(`\((?:\?:)?([A-Za-z0-9.\\|-]+)\)`).FindAllStringSubmatch(r.Match, -1) {
				for _, w := range strings.Split(strings.ReplaceAll(list[1], `\.`, "."), "|") {
					if !lang.Reserved(w) {
						t.Errorf("%q isn't a word of the language", w)
					}
				}
			}
		}
	}
	for _, r := range g.Repository {
		all([]rule{r})
	}
}

func TestSample(t *testing.T) {
	_, rules := read(t)
	for line, want := range map[string]string{
		`recipe 1 draft # "no" print`:                              `recipe=keyword.control 1=constant.numeric draft=keyword.other # "no" print=comment.line.number-sign`,
		`master  "salt \"road\" # 1.tif" space grey-2.2`:           `master=keyword.control "salt \"road\" # 1.tif"=string.quoted.double space=keyword.other grey-2.2=support.constant.space`,
		`print large-2 on baryta for harbour {`:                    `print=keyword.control large-2=entity.name.section on=keyword.other baryta=variable.other for=keyword.other harbour=variable.other {=punctuation`,
		`    size 60 in x 40in at 300 ppi`:                         `size=keyword.control 60=constant.numeric in=keyword.other.unit x=keyword.other 40=constant.numeric in=keyword.other.unit at=keyword.other 300=constant.numeric ppi=keyword.other.unit`,
		`    less ellipse at (58%, -66.5%) size 9% x 4%`:           `less=keyword.control ellipse=keyword.other at=keyword.other (=punctuation 58=constant.numeric %=keyword.other.unit ,=punctuation -66.5=constant.numeric %=keyword.other.unit )=punctuation size=keyword.other 9=constant.numeric %=keyword.other.unit x=keyword.other 4=constant.numeric %=keyword.other.unit`,
		`    enlarge with b-spline as print-2`:                     `enlarge=keyword.control with=keyword.other b-spline=support.constant.kernel as=keyword.other print-2=entity.name.tag`,
		`    blend smooth over crisp through m3 at 40%`:            `blend=keyword.control smooth=variable.other over=keyword.other crisp=variable.other through=keyword.other m3=variable.other at=keyword.other 40=constant.numeric %=keyword.other.unit`,
		`    crop to 3:2`:                                          `crop=keyword.control to=keyword.other 3:2=constant.numeric.ratio`,
		`    convert to opRGB intent relative black-point on # so`: `convert=keyword.control to=keyword.other opRGB=support.constant.space intent=keyword.other relative=keyword.other black-point=keyword.other on=keyword.other # so=comment.line.number-sign`,
		`    follow wall`:                                          `follow=keyword.control wall=variable.other`,
		`}`:                                                        `}=punctuation`,
	} {
		var got []string
		for _, k := range tokens(rules, line) {
			got = append(got, k[0]+"="+k[1])
		}
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%s\n got %s\nwant %s", line, s, want)
		}
	}
}

func TestConfiguration(t *testing.T) {
	b, err := os.ReadFile("language-configuration.json")
	if err != nil {
		t.Fatal(err)
	}
	var c struct {
		Comments struct {
			Line string `json:"lineComment"`
		} `json:"comments"`
		Brackets [][2]string `json:"brackets"`
		Word     string      `json:"wordPattern"`
		Indent   struct {
			More string `json:"increaseIndentPattern"`
			Less string `json:"decreaseIndentPattern"`
		} `json:"indentationRules"`
	}
	if err := json.Unmarshal(b, &c); err != nil {
		t.Fatal(err)
	}
	if c.Comments.Line != "#" || len(c.Brackets) != 2 {
		t.Errorf("%+v", c)
	}
	re := regexp.MustCompile("^(?:" + c.Word + ")$")
	for _, w := range lang.Words() {
		if w != "%" && !re.MatchString(w) {
			t.Errorf("%s isn't one word", w)
		}
	}
	more, less := regexp.MustCompile(c.Indent.More), regexp.MustCompile(c.Indent.Less)
	if !more.MatchString("prepare {   # at the master's size") || more.MatchString("# a { b") || !less.MatchString("    }") {
		t.Error("indents")
	}
}
