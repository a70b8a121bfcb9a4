package interp

import "strings"

// recipeText is a recipe's text by lines, for plans and reports that quote it.
type recipeText []string

func recipeLines(text string) recipeText {
	text = strings.TrimPrefix(text, "\ufeff")
	return strings.Split(strings.TrimSuffix(strings.ReplaceAll(text, "\r\n", "\n"), "\n"), "\n")
}

// words is a line without indent and comment, its words one space apart; ""
// where there is no such line. A statement over several lines is named by its
// first.
func (t recipeText) words(line int) string {
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
