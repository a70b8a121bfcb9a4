package lang

import (
	"fmt"
	"reflect"
	"strings"
)

// named is a thing with a name at the top of the file.
type named struct {
	*block
	text Text
	used bool
}

// scope is the list of the names of the top, which is one: a name means one
// thing in a recipe.
type scope struct {
	all      []*named
	byName   map[string]*named
	ofKind   map[string][]string
	searched int // letters of names held against each other
}

// codes of a name that isn't given, by the kind of thing.
var unknownName = map[string]string{"mask": "PM401", "steps": "PM402", "paper": "PM410", "lab": "PM411", "print": "PM412"}

// names collects the names of the top.
func (c *checker) names() *scope {
	out := &scope{byName: map[string]*named{}, ofKind: map[string][]string{}}
	give := func(b *block, name Text) {
		n := &named{b, name, b.Kind == "print" || b.Kind == "sheet"}
		if o := out.find(name.Value); o != nil {
			c.givenTwice(name, o.text, fmt.Sprintf("It is the name of a %s already; a name means one thing in a recipe.", kindOf(o.Kind)))
			return
		}
		out.all, out.byName[name.Value] = append(out.all, n), n
		out.ofKind[b.Kind] = append(out.ofKind[b.Kind], name.Value)
	}
	for _, p := range c.rec.Pictures {
		give(&block{Block: &Block{Kind: "picture"}}, p.Name)
	}
	for _, b := range c.blocks {
		if b.Name != nil {
			give(b, b.name())
		}
	}
	return out
}

func (c *checker) givenTwice(again, first Text, rule string) {
	c.add("PM406", again.Span, fmt.Sprintf("the name %s is given twice, on line %d and on line %d", again.Value, first.Line, again.Line), rule, "choose another name for one of the two")
}

func kindOf(k string) string {
	if k == "steps" {
		return "steps block"
	}
	return k
}

// find returns what bears a name, nil where nothing does; a nil scope is empty.
func (s *scope) find(v string) *named {
	if s == nil {
		return nil
	}
	return s.byName[v]
}

// mostSearched bounds the letters of names that are held against letters in one
// file; with so many names that aren't given, the last have no suggestions.
const mostSearched = 20_000_000

// nearest is the function of this name, until too much was searched.
func (s *scope) nearest(v string, names []string) string {
	if s == nil {
		return ""
	}
	if s.searched += len(names) * len(v) * len(v); s.searched > mostSearched {
		return ""
	}
	return nearest(v, names)
}

// meant is the name nearby that was meant, with the hint that says so; "" where
// none is near.
func (s *scope) meant(v string, names []string) (near string, hints []string) {
	if near = s.nearest(v, names); near == "" {
		return "", nil
	}
	n := s.find(near)
	n.used = true // so not unused
	return near, []string{fmt.Sprintf("did you mean %s, line %d?", near, n.text.Line)}
}

// resolve finds the names that a statement uses, but for those of pictures, and
// complains where there is none.
func (c *checker) resolve(st *stmt) {
	if st.broken {
		_, uses := st.loose()
		for _, u := range uses {
			if n := c.scope.find(u); n != nil {
				n.used = true
			}
		}
		return
	}
	node := reflect.ValueOf(st.node).Elem()
	for i := range st.is.Params {
		p := &st.is.Params[i]
		if p.Of == "" || p.Gives || p.Of == NamePicture {
			continue
		}
		var name *Text
		switch t := node.FieldByIndex(p.fields[len(p.fields)-1].Index).Interface().(type) {
		case Text:
			name = &t
		case *Text:
			name = t
		}
		switch {
		case name == nil:
		case p.Kind == valueTarget:
			c.useTarget(*name)
		default:
			c.use(string(p.Of), *name)
		}
	}
}

// use marks a name of a kind as used and complains where there is none.
func (c *checker) use(kind string, t Text) {
	n := c.scope.find(t.Value)
	switch {
	case n == nil:
		near, hints := c.nearName(kind, t.Value)
		c.add(unknownName[kind], t.Span, fmt.Sprintf("no %s is named %s", kindOf(kind), t.Value), "", hints...).fixNear(t.Span, near)
	case n.Kind != kind:
		near, hints := c.nearName(kind, t.Value)
		c.add("PM409", t.Span, fmt.Sprintf("%s is a %s, not a %s", t.Value, kindOf(n.Kind), kindOf(kind)), fmt.Sprintf("It is defined on line %d.", n.text.Line), hints...).fixNear(t.Span, near)
	default:
		n.used = true
	}
}

func (c *checker) nearName(kind, v string) (near string, hints []string) {
	names := c.scope.ofKind[kind]
	switch near, hints = c.scope.meant(v, names); {
	case near != "":
		return near, hints
	case len(names) > 0:
		return "", namedSoFar(names)
	case c.scope.find(v) != nil:
		return "", []string{fmt.Sprintf("define one: %s NAME {", kind)}
	}
	return "", []string{fmt.Sprintf("define it: %s %s {", kind, v)}
}

// namedSoFar lists the first few names.
func namedSoFar(names []string) []string {
	return []string{"named so far: " + andList(names[:min(len(names), 8)])}
}

// useTarget finds what a conversion names: a paper or a lab.
func (c *checker) useTarget(t Text) {
	switch n := c.scope.find(t.Value); {
	case n == nil:
		c.noTarget(t, "PM411", c.scope)
	case n.Kind == "lab" || n.Kind == "paper":
		n.used = true
	default:
		c.noTarget(t, "PM409", c.scope)
	}
}

// noTarget complains about a conversion to what is neither a space nor a paper
// or a lab, and says what it may be. s is nil where no names are known.
func (p *problems) noTarget(t Text, code string, s *scope) {
	var have []string
	if s != nil {
		have = append(append(have, s.ofKind["paper"]...), s.ofKind["lab"]...)
	}
	space := nearest(t.Value, Spaces)
	for _, s := range Spaces { // P3, romm
		if len(t.Value) > 1 && space == "" && strings.Contains(strings.ToLower(s), strings.ToLower(t.Value)) {
			space = s
		}
	}
	summary := fmt.Sprintf("no paper and no lab is named %s", t.Value)
	near, hints := s.meant(t.Value, have)
	switch {
	case near != "":
	case space != "":
		near = space
		code, hints = "PM209", []string{"did you mean " + space + "?"}
	case len(have) > 0:
		hints = []string{"papers and labs so far: " + andList(have[:min(len(have), 8)])}
	case code == "PM411":
		hints = []string{fmt.Sprintf("define it: paper %s {, or name a space", t.Value)}
	}
	if n := s.find(t.Value); n != nil {
		summary = fmt.Sprintf("%s is a %s, not a paper or a lab", t.Value, kindOf(n.Kind))
	} else if code == "PM209" {
		summary = fmt.Sprintf("%s isn't a colour space, nor the name of a paper or a lab", t.Value)
	}
	p.add(code, t.Span, summary, "A picture is converted to "+orList(Spaces)+", to a paper, to a lab, or to a profile.", hints...).fixNear(t.Span, near)
}

// loose returns the names that a broken line may give and use, so that its
// mistake causes no others.
func (st *stmt) loose() (gives, uses []string) {
	for i, t := range st.toks {
		switch {
		case i == 0 || t.Kind != KindName && t.Kind != KindBad && t.Kind != KindWord:
		case st.toks[i-1].Value == "as":
			gives = append(gives, t.Value)
		default:
			uses = append(uses, t.Value)
		}
	}
	return
}

// unused warns of names that nothing uses.
func (c *checker) unused() {
	for _, n := range c.scope.all {
		if n.used {
			continue
		}
		v := n.text.Value
		switch n.Kind {
		case "mask":
			c.add("PM451", n.text.Span, "nothing uses mask "+v, "", "use it with through, or take it out")
		case "paper":
			c.add("PM453", n.text.Span, "nothing uses paper "+v, "", "write print … on "+v+", or take it out")
		case "lab":
			c.add("PM454", n.text.Span, "nothing uses lab "+v, "", "write print … for "+v+", or take it out")
		case "picture":
			c.add("PM456", n.text.Span, "nothing uses picture "+v, "", "use it with take or blend, or take it out")
		case "steps":
			c.add("PM452", n.text.Span, "nothing follows steps "+v, "", "write follow "+v+" in a print, or take it out")
		}
	}
}
