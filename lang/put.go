package lang

import "strings"

// Put is the edit that puts lines into a block of the top: behind line after of the
// file, or with 0 as the block's first. A block that isn't there is made, where its
// kind usually stands. The lines have no indent but what is deeper in them.
func Put(src []byte, block BlockName, after int, lines ...string) Edit {
	s, _ := ReadSource("", src)
	b := s.block(block)
	if b == nil {
		return s.insertion(block.Kind, s.withLineEnds([]byte(strings.TrimSpace(block.String())+" {\n    "+strings.Join(lines, "\n    ")+"\n}\n")))
	}
	indent := "    "
	if after == 0 {
		after = b.Head.EndLine
	} else {
		row := rows(src)[after-1]
		indent = row[:len(row)-len(strings.TrimLeft(row, " \t"))]
	}
	at := offset(src, after, 1)
	_, at = s.WholeLines(at, at)
	text := indent + strings.Join(lines, s.EOL()+indent) + s.EOL()
	if at > 0 && src[at-1] != '\n' {
		text = s.EOL() + text
	}
	return Edit{at, at, text}
}

// Replace is the edit that writes text in the place of a stretch of the source.
func Replace(src []byte, at Span, text string) Edit { return (&Fix{Span: at, Text: text}).edit(src) }
