package lsp

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"platemark/lang"
)

// model is a text as the protocol describes it, in UTF-16 units: another way
// than the server's.
type model []uint16

func (m model) index(p position) int {
	at := 0
	for n := 0; n < p.Line; n++ {
		for at < len(m) && m[at] != '\n' && m[at] != '\r' {
			at++
		}
		switch {
		case at == len(m):
			return at
		case m[at] == '\r' && at+1 < len(m) && m[at+1] == '\n':
			at++
		}
		at++
	}
	if p.Line < 0 {
		return 0
	}
	for n := 0; n < p.Character && at < len(m) && m[at] != '\n' && m[at] != '\r'; n++ {
		at++
	}
	if at > 0 && at < len(m) && m[at] >= 0xDC00 && m[at] < 0xE000 && m[at-1] >= 0xD800 && m[at-1] < 0xDC00 {
		at--
	}
	return at
}

func (m model) apply(c change) model {
	a, b := m.index(c.Range.Start), m.index(c.Range.End)
	if a > b {
		a, b = b, a
	}
	return slices.Concat(m[:a:a], utf16.Encode([]rune(c.Text)), m[b:])
}

func (m model) String() string { return string(utf16.Decode(m)) }

// script reads edits and requests from the fuzzer's bytes.
type script struct{ b []byte }

func (s *script) next() int {
	if len(s.b) == 0 {
		return 0
	}
	v := s.b[0]
	s.b = s.b[1:]
	return int(v)
}

func (s *script) position() position {
	p := position{s.next(), s.next()}
	switch s.next() % 16 {
	case 0:
		p.Line -= 3
	case 1:
		p.Character -= 3
	case 2:
		p.Line, p.Character = p.Line*1000000, p.Character*1000000
	}
	return p
}

// pieces are what is typed.
var pieces = []string{"", " ", "\n", "\r\n", "\r", "{", "}", "(", ")", "\"", "#", ",", "塩", "🧂", "e\u0301", "\uFEFF", "%", "\x00", "\u200b",
	"mask a {\n", "print b on c for d {\n", "steps e {\n", "tone through a {\n", "paper c {\n", "    less ", "stroke along (1%, 2%), ", "as crisp", "through a", "follow e",
	"blend x over y", "enlarge with ", "size 60 x ", "40 in at 300 ppi", "save jpeg \"", "master \"../", "recipe 1 draft\n", "1.5", "-", "quiet 3% ", "take x\n"}

func (s *script) text() string {
	if n := s.next(); n < 200 {
		return pieces[n%len(pieces)]
	}
	k := min(s.next()%8, len(s.b))
	t := string(s.b[:k])
	s.b = s.b[k:]
	return strings.ToValidUTF8(t, "\uFFFD")
}

var methods = []string{"textDocument/completion", "textDocument/hover", "textDocument/definition", "textDocument/references",
	"textDocument/documentHighlight", "textDocument/prepareRename", "textDocument/rename", "textDocument/formatting", "textDocument/documentSymbol"}

// FuzzServer: whatever is typed and asked, every request is answered, nothing
// fails inside, and in the end the problems shown are those of the text that
// the editor has.
func FuzzServer(f *testing.F) {
	f.Add([]byte{}, saltRoad)
	f.Add([]byte{10, 3, 5, 3, 200, 0, 1, 1, 4, 2, 3, 9, 12, 9, 6, 19, 3, 9, 7, 1, 1}, saltRoad)
	f.Add([]byte("\x01\x02\x03\x04\x05\x06\x07\x08\x09\x0a\x0b\x0c\x0d\x0e"), "recipe 1 draft\r\nmaster \"塩🧂.tif\"\r\n\rmask a {")
	f.Add([]byte("typing {} and more and more and more"), "\uFEFFprint b {\n    size 1 in wide at 300 ppi\n    \n}\n")
	f.Add([]byte("\xf0\x07abcdefgh\xf0\x03xyz"), "tone {\n steps {\n} }\n")
	f.Fuzz(func(t *testing.T, b []byte, src string) {
		if len(b) > 400 || len(src) > 6000 {
			return
		}
		src = strings.ToValidUTF8(src, "\uFFFD")
		c := start(t)
		c.initialize()
		const uri = "untitled:fuzz"
		c.opens(uri, src)
		m := model(utf16.Encode([]rune(src)))
		s := &script{b}
		version := 1
		for len(s.b) > 0 {
			switch n := s.next(); {
			case n%3 == 0:
				x := change{&span{s.position(), s.position()}, s.text()}
				m = m.apply(x)
				version++
				c.tell("textDocument/didChange", map[string]any{
					"textDocument":   map[string]any{"uri": uri, "version": version},
					"contentChanges": []change{x},
				})
			case n == 250:
				c.raw(`{"jsonrpc":"2.0",` + s.text())
			default:
				p := s.position()
				q := where(uri, p.Line, p.Character)
				q["newName"] = s.text()
				id := c.send(methods[n%len(methods)], q)
				if n%5 == 0 {
					c.tell("$/cancelRequest", map[string]any{"id": id})
				}
				c.reply(id)
			}
		}
		shown := c.published(uri, version)
		_, ds := lang.Parse("recipe", []byte(m.String()))
		var got, want []string
		for _, d := range shown {
			got = append(got, d.Code)
			if d.Range.Start.Line < 0 || m.index(d.Range.Start) > m.index(d.Range.End) {
				t.Errorf("%+v", d)
			}
		}
		for _, d := range ds {
			want = append(want, d.Code)
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("shown %v, want %v, for %q", got, want, m.String())
		}
		c.leaves()
		c.mu.Lock()
		defer c.mu.Unlock()
		for _, x := range c.heard {
			if x.Method == "window/logMessage" {
				t.Errorf("%s", x.Params)
			}
		}
	})
}
