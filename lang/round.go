package lang

import (
	"errors"
	"fmt"
)

// SetRound returns the recipe with its round number set to n (1 or more).
// Only the number is touched; every other byte stays as it is. Where there is
// no round line, one is added behind the title, the rights or the recipe line,
// whichever stands last.
func SetRound(src []byte, n int) ([]byte, error) {
	if n < 1 {
		return nil, fmt.Errorf("a round is numbered from 1; %d isn't one", n)
	}
	s, err := recipeText(src)
	if err != nil {
		return nil, err
	}
	behind := -1
	for _, l := range s.Top.Lines {
		t := l.Tokens
		switch {
		case l.Opens != nil || t[0].Kind != KindWord:
		case t[0].Value == "round" && len(t) == 2:
			return Apply(src, Edit{t[1].Offset, t[1].End, fmt.Sprint(n)}), nil
		case t[0].Value == "round":
			return nil, fmt.Errorf("line %d isn't written as `round N`; mend it first", t[0].Line)
		case t[0].Value == "recipe" || t[0].Value == "title" || t[0].Value == "rights":
			behind = t[len(t)-1].End
		}
	}
	if behind < 0 {
		return nil, errors.New("there is no recipe line to put a round behind")
	}
	line := fmt.Sprintf("round   %d", n)
	_, end := s.WholeLines(behind, behind)
	if src[end-1] == '\n' {
		line += s.EOL()
	} else {
		line = s.EOL() + line
	}
	return Apply(src, Edit{end, end, line}), nil
}
