package lang

// Severity orders problems: an error stops the run, a warning and a note don't.
type Severity int

const (
	Error Severity = iota
	Warning
	Note
)

func (s Severity) String() string { return [...]string{"error", "warning", "note"}[s] }

// Diagnostic is one problem, as data. Code is stable for good.
type Diagnostic struct {
	Severity Severity
	Code     string
	File     string
	Span     Span
	Summary  string   // what is wrong, in the trade's words, one line
	Detail   string   // what was found and the rule, may be empty
	Hints    []string // how to mend it, one each
}
