package lang

// grouper joins the tokens of the file's lines to logical lines: brackets and
// commas carry a line on, braces end it. A bracket or a comma left open never
// swallows what follows: a line that begins like a statement ends it.
type grouper struct {
	sc     *scanner
	out    *Source
	cur    *Line
	depth  int
	atRow  int  // the line of the file at hand
	layout bool // a brace of this line of the file has been complained about
	braces int  // open in the statement at hand
	tokens int  // of the file so far
}

// begins reports words that begin a statement of any block.
func begins(t Token) bool {
	return t.Kind == KindWord && (len(blocksOf(t.Value)) > 0 || t.Value == "less" || t.Value == "within")
}

// stops reports whether a line of the file that begins with t can't go on with
// the statement before it.
func (g *grouper) stops(t Token) bool {
	if t.Value == "}" && t.Kind == KindPunct {
		return true
	}
	if g.depth > 0 {
		return t.Kind != KindNumber && t.Kind != KindUnit && !(t.Kind == KindPunct && (t.Value == ")" || t.Value == "," || t.Value == "("))
	}
	return t.Kind == KindString || begins(t)
}

// row takes the line of the file that the scanner has just read.
func (g *grouper) row(n int) {
	toks, comments := g.sc.tokens, g.sc.comments
	g.atRow, g.layout = n, false
	g.tokens += len(toks)
	if g.cur != nil && len(toks) > 0 && g.stops(toks[0]) {
		g.finish()
	}
	if len(toks) == 0 {
		if g.cur != nil { // inside a list
			g.cur.Comments = append(g.cur.Comments, comments...)
			g.cur.Broken = g.cur.Broken || g.sc.broken
			return
		}
		l := Line{Span: Span{n, 1, n, 1}, Comments: comments, Broken: g.sc.broken}
		if len(comments) > 0 {
			l.Span = comments[0].Span
		}
		g.out.Lines = append(g.out.Lines, l)
		return
	}
	for i, t := range toks {
		if t.Kind == KindPunct {
			switch t.Value {
			case "(":
				g.depth++
			case ")":
				if g.depth == 0 {
					g.complain("PM130", t.Span, ") closes nothing", "", "take it out")
				} else {
					g.depth--
				}
			case "{":
				g.put(t)
				if i+1 < len(toks) && !g.inline() {
					g.brace("PM132", toks[i+1].Span, "{ ends its line", "Each statement of a block stands on a line of its own.", "start a new line behind {")
					g.end()
				}
				continue
			case "}":
				if len(toks) == 1 {
					g.put(t)
					continue
				}
				if g.inline() && g.braces > 0 {
					g.put(t)
					continue
				}
				g.brace("PM133", t.Span, "} stands alone on its line", "", "put it on a line of its own")
				g.end()
				g.put(t)
				g.end()
				continue
			}
		}
		g.put(t)
	}
	if g.cur == nil { // a line that ended in a brace out of place
		if k := len(g.out.Lines); k > 0 {
			g.out.Lines[k-1].Comments = append(g.out.Lines[k-1].Comments, comments...)
		}
		return
	}
	g.cur.Comments = append(g.cur.Comments, comments...)
	g.cur.Broken = g.cur.Broken || g.sc.broken
	last := toks[len(toks)-1]
	if g.depth > 0 || last.Kind == KindPunct && last.Value == "," {
		return
	}
	g.end()
}

// inline reports whether the line at hand is a statement that opens no block,
// so that braces in it are its own mistake.
func (g *grouper) inline() bool {
	if g.cur == nil || len(g.cur.Tokens) == 0 {
		return false
	}
	t := g.cur.Tokens[0]
	return t.Kind == KindWord && begins(t) && !opener(t.Value)
}

func (g *grouper) put(t Token) {
	if g.cur == nil {
		g.cur = &Line{Span: t.Span}
	}
	if t.Kind == KindPunct && t.Value == "{" {
		g.braces++
	} else if t.Kind == KindPunct && t.Value == "}" {
		g.braces--
	}
	g.cur.Tokens = append(g.cur.Tokens, t)
	g.cur.EndLine, g.cur.EndCol = t.EndLine, t.EndCol
	g.cur.Broken = g.cur.Broken || g.sc.broken
}

func (g *grouper) complain(code string, sp Span, summary, detail string, hints ...string) {
	g.sc.bad(code, sp, summary, detail, hints...)
	if g.cur != nil {
		g.cur.Broken = true
	}
}

// brace reports the layout of braces, once for each line of the file; what
// stands between them is read all the same.
func (g *grouper) brace(code string, sp Span, summary, detail string, hints ...string) {
	if !g.layout {
		g.sc.add(code, sp, summary, detail, hints...)
		g.layout = true
	}
}

// end takes the line at hand as complete.
func (g *grouper) end() {
	if g.cur != nil {
		g.out.Lines = append(g.out.Lines, *g.cur)
	}
	g.cur, g.depth, g.sc.depth, g.braces = nil, 0, 0, 0
}

// finish ends a line that brackets or a comma have left open.
func (g *grouper) finish() {
	if g.cur == nil {
		return
	}
	last := g.cur.Tokens[len(g.cur.Tokens)-1]
	if g.depth > 0 {
		open := last
		for _, t := range g.cur.Tokens {
			if t.Kind == KindPunct && t.Value == "(" {
				open = t
			}
		}
		g.sc.add("PM130", open.Span, "( isn't closed", "A point is written (x, y).", "close it with )")
	} else {
		g.sc.add("PM131", last.Span, "nothing follows this comma", "A comma carries a list on.", "take it out, or go on with the list")
	}
	g.cur.Broken = true
	g.end()
}
