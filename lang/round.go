package lang

import (
	"errors"
	"fmt"
	"strings"
)

// SetRound returns the recipe with its round number set to n (1 or more).
// Only the number is touched; every other byte stays as it is. Where there is
// no round line, one is added behind the title, the rights or the recipe line,
// whichever stands last.
func SetRound(src []byte, n int) ([]byte, error) {
	if n < 1 {
		return nil, fmt.Errorf("a round is numbered from 1; %d isn't one", n)
	}
	s, ds := ReadSource("", src)
	if len(s.Lines) == 0 && len(ds) > 0 {
		return nil, fmt.Errorf("this isn't a recipe: %s", ds[0].Summary)
	}
	eol := "\n"
	if s.CRLF {
		eol = "\r\n"
	}
	depth, behind := 0, -1
	for i := range s.Lines {
		t := s.Lines[i].Tokens
		if len(t) == 0 {
			continue
		}
		switch {
		case isPunct(t, 0, "}"):
			depth = max(depth-1, 0)
		case isPunct(t, len(t)-1, "{"):
			depth++
		case depth > 0 || t[0].Kind != KindWord:
		case t[0].Value == "round" && len(t) == 2:
			return []byte(string(src[:t[1].Offset]) + fmt.Sprint(n) + string(src[t[1].End:])), nil
		case t[0].Value == "round":
			return nil, fmt.Errorf("line %d isn't written as `round N`; mend it first", t[0].Line)
		case t[0].Value == "recipe" || t[0].Value == "title" || t[0].Value == "rights":
			behind = max(behind, t[len(t)-1].End)
		}
	}
	if behind < 0 {
		return nil, errors.New("there is no recipe line to put a round behind")
	}
	end := len(src)
	line := eol + fmt.Sprintf("round   %d", n)
	if i := strings.IndexByte(string(src[behind:]), '\n'); i >= 0 {
		end = behind + i + 1
		line = fmt.Sprintf("round   %d", n) + eol
	}
	return []byte(string(src[:end]) + line + string(src[end:])), nil
}
