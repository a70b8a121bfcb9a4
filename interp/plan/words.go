package plan

import "strings"

// Lines is a recipe's text by lines, for plans and reports that quote it.
type Lines []string

func LinesOf(text string) Lines {
	text = strings.TrimPrefix(text, "\ufeff")
	return strings.Split(strings.TrimSuffix(strings.ReplaceAll(text, "\r\n", "\n"), "\n"), "\n")
}

// Words is a line without indent and comment, its words one space apart; ""
// where there is no such line. A statement over several lines is named by its
// first.
func (t Lines) Words(line int) string {
	if line < 1 || line > len(t) {
		return ""
	}
	l := t[line-1]
	if i := commentStart(l); i >= 0 {
		l = l[:i]
	}
	return strings.Join(strings.Fields(l), " ")
}

// commentStart finds the # that starts a comment, outside strings.
func commentStart(l string) int {
	in := false
	for i := 0; i < len(l); i++ {
		switch {
		case l[i] == '\\' && in:
			i++
		case l[i] == '"':
			in = !in
		case l[i] == '#' && !in:
			return i
		}
	}
	return -1
}
