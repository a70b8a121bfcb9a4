package interp

import (
	"fmt"
	"slices"
	"strings"

	"platemark/testdata/frozen"
)

// languageName is how a language version is said: "recipe 1 draft, vector list
// 0123456789abcdef…".
func languageName(version int, draft string) string {
	if draft == "" {
		return fmt.Sprintf("recipe %d", version)
	}
	return fmt.Sprintf("recipe %d draft, vector list %s…", version, briefSum(draft))
}

// Language says which version of the language the job's recipe speaks.
func (j *Job) Language() string {
	draft := ""
	if j.Recipe.Draft {
		draft = frozen.Digest()
	}
	return languageName(j.Recipe.Version, draft)
}

// Language says which version of the language the log speaks.
func (l *Log) Language() string { return languageName(l.Head.Language, l.Head.Draft) }

// Operations lists the operations of the plan with their versions, sorted:
// "blend 1, enlarge 1".
func (p *Plan) Operations() string {
	var list []string
	for _, n := range p.Nodes {
		if n.Input == nil {
			list = append(list, fmt.Sprintf("%s %d", n.Op, n.Ver))
		}
	}
	return joinOperations(list)
}

// Operations lists the operations of the log with their versions, sorted.
func (l *Log) Operations() string {
	var list []string
	for _, s := range l.Steps {
		list = append(list, fmt.Sprintf("%s %d", s.Operation, s.Version))
	}
	return joinOperations(list)
}

func joinOperations(list []string) string {
	slices.Sort(list)
	list = slices.Compact(list)
	if len(list) == 0 {
		return "no operations"
	}
	return strings.Join(list, ", ")
}
