package audit

import (
	"fmt"
	"slices"
	"strings"
)

// LanguageName is how a language version is said: "recipe 1 draft, vector list
// 0123456789abcdef…".
func LanguageName(version int, draft string) string {
	if draft == "" {
		return fmt.Sprintf("recipe %d", version)
	}
	return fmt.Sprintf("recipe %d draft, vector list %s…", version, BriefSum(draft))
}

// Language says which version of the language the log speaks.
func (l *Log) Language() string { return LanguageName(l.Head.Language, l.Head.Draft) }

// Operations lists the operations of the log with their versions, sorted.
func (l *Log) Operations() string {
	var list []string
	for _, s := range l.Steps {
		list = append(list, fmt.Sprintf("%s %d", s.Operation, s.Version))
	}
	return JoinOperations(list)
}

// JoinOperations lists operations with their versions, sorted, each once.
func JoinOperations(list []string) string {
	slices.Sort(list)
	list = slices.Compact(list)
	if len(list) == 0 {
		return "no operations"
	}
	return strings.Join(list, ", ")
}
