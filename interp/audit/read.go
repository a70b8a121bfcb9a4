package audit

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	pathpkg "path"
	"path/filepath"
	"strings"

	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/lang"
)

// A Log is an audit log as read.
type Log struct {
	Path   string
	Lines  [][]byte // without their LF
	Head   LogRecord
	Recipe RecipeRecord
	Others []RecipeRecord // of a sheet of several recipes
	Inputs []InputRecord
	Steps  []StepRecord
	File   FileRecord
	Run    RunRecord
}

// LogError says which line of a log is wrong, and how.
type LogError struct {
	Path string
	Line int // 0: the file as a whole
	What string
}

func (e *LogError) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: %s", e.Path, e.What)
	}
	return fmt.Sprintf("%s line %d: %s", e.Path, e.Line, e.What)
}

// What is read as a log. A print of 65535 rows and twenty steps has under
// 1 MB, thousands of spots some more.
const (
	MaxLog     = 16 << 20 // bytes
	maxLine    = 8 << 20  // of them in one record; as JSON a recipe takes at most twice its bytes
	maxRecords = 1 << 16
)

// MaxRecipes is the most recipes whose prints a sheet shows.
const MaxRecipes = 24

// ReadLog reads a log and checks its form and its whole chain.
func ReadLog(path string) (*Log, error) {
	b, err := disk.Read(path, MaxLog)
	if what := otherKind(path, b); what != "" {
		return nil, &LogError{path, 0, what}
	}
	var large *disk.SizeError
	switch {
	case errors.As(err, &large):
		return nil, &LogError{path, 0, fmt.Sprintf("too long for an audit log: more than %d MB", MaxLog>>20)}
	case err != nil:
		return nil, &LogError{path, 0, disk.PlainError(err).Error()}
	}
	return ParseLog(path, b)
}

// otherKind says what a file is that was taken for its log, and what to type;
// "" where it may be a log.
func otherKind(path string, b []byte) string {
	if logs := LogsOf(path, ""); len(logs) > 0 {
		return "this is a print file, not an audit log; its log: " + strings.Join(logs, ", ")
	}
	if len(b) > lang.MaxSource || !isRecipe(b) {
		return master.NotLog(path)
	}
	what := "this is a recipe, not an audit log: `platemark build " + disk.Typed(path) + "` makes its prints, each with its log"
	if rec, _ := lang.Parse(filepath.Base(path), b); rec != nil {
		for _, p := range rec.Prints {
			if p.Save == nil {
				continue
			}
			if logs := LogsOf(disk.Join(filepath.Dir(path), p.Save.Path.Value), ""); len(logs) > 0 {
				what += "; the log of print " + p.Name.Value + ": " + strings.Join(logs, ", ")
			}
		}
	}
	return what
}

// isRecipe says whether a text begins as a recipe does, after its comments.
func isRecipe(b []byte) bool {
	for line := range bytes.Lines(bytes.TrimPrefix(b, []byte("\ufeff"))) {
		if words := bytes.Fields(line); len(words) > 0 && words[0][0] != '#' {
			return string(words[0]) == "recipe"
		}
	}
	return false
}

// ParseLog reads the bytes of a log; see ReadLog.
func ParseLog(path string, b []byte) (*Log, error) {
	l := &Log{Path: path}
	if len(b) == 0 {
		return nil, l.Wrong(0, "the file is empty")
	}
	if bytes.Count(b, []byte("\n")) > maxRecords {
		return nil, l.Wrong(0, "it has more than %d lines; no audit log has", maxRecords)
	}
	l.Lines = bytes.Split(bytes.TrimSuffix(b, []byte("\n")), []byte("\n"))
	n := len(l.Lines)
	if b[len(b)-1] != '\n' {
		return nil, l.Wrong(n, "the last line has no line end: it was cut off or added to")
	}
	// First every link, so that the line that was changed is named and not
	// the one where it shows.
	heads := make([]lineHead, n)
	for i, line := range l.Lines {
		if len(line) > maxLine+4096 {
			return nil, l.Wrong(i+1, "too long for a record: more than %d MB", maxLine>>20)
		}
		if json.Unmarshal(line, &heads[i]) != nil {
			return nil, l.Wrong(i+1, "this isn't a record: it was changed")
		}
	}
	linked := func(i int) bool { // line i's prev fits line i-1
		if i == 0 {
			return heads[0].Prev == zeros
		}
		return i >= n || heads[i].Prev == SumOf(l.Lines[i-1])
	}
	for i := range n {
		if linked(i) {
			continue
		}
		// Line i doesn't fit the one before. If line i doesn't fit the next
		// one either, line i was changed, else the one before.
		var end RunRecord
		broken := i
		if i == 0 || !linked(i+1) || i == n-1 && !Sealed(l.Lines[i], &end, &end.Self) {
			broken = i + 1
		}
		return nil, l.Wrong(broken, "this line was changed, or a line beside it was taken out: the chain of digests breaks here")
	}
	if e := l.fill(heads); e != nil {
		return nil, e
	}
	return l, nil
}

// lineHead is what every record has.
type lineHead struct {
	Record string `json:"record"`
	Prev   string `json:"prev"`
}

// fill reads the records by kind and checks what can be told without a plan.
func (l *Log) fill(heads []lineHead) *LogError {
	order := []string{"log", "recipe", "input", "step", "file", "run"}
	stage := 0
	for i, k := range heads {
		for stage < len(order) && order[stage] != k.Record {
			stage++
		}
		if stage == len(order) {
			return l.Wrong(i+1, "a record %q has no place here", k.Record)
		}
		if k.Record == "log" || k.Record == "file" || k.Record == "run" {
			stage++ // one of each
		}
		if err := l.record(i, k.Record); err != nil {
			return l.Wrong(i+1, "this line was changed, or isn't an audit record: %v", err)
		}
	}
	last := len(l.Lines)
	switch {
	case l.Head.Format != LogFormat:
		return l.Wrong(1, "the log's format is %q; this engine reads %q", l.Head.Format, LogFormat)
	case l.Recipe.Record == "" || len(l.Inputs) == 0 || l.File.Record == "" && l.Run.Failure == "" || l.Run.Record == "":
		return l.Wrong(last, "records are missing after this line: the log isn't whole")
	case !filepath.IsLocal(l.Run.Out) || strings.ContainsAny(l.Run.Out, `/\`) || l.Run.Out == ".":
		return l.Wrong(last, "the print file's name %q isn't a plain file name", l.Run.Out)
	case l.File.Record != "" && l.Run.Out != pathpkg.Base(l.File.Name):
		return l.Wrong(last, "the print file's name is %q, and line %d says %q", l.Run.Out, last-1, l.File.Name)
	}
	for i, r := range l.Recipes() {
		if SumOf([]byte(r.Text)) != r.SHA256 {
			return l.Wrong(2+i, "the recipe's text doesn't have the digest that the line says")
		}
	}
	named, lay := map[[2]string]bool{}, map[string]string{}
	for i, in := range l.Inputs {
		k := [2]string{in.Role, in.Path}
		if named[k] {
			return l.Wrong(l.InputLine(i), "the %s %s stands twice", in.Role, in.Path)
		}
		named[k], lay[in.Path] = true, l.Run.Found[in.Path]
	}
	if len(l.Others) >= MaxRecipes {
		return l.Wrong(2+MaxRecipes, "a sheet shows prints of at most %d recipes", MaxRecipes)
	}
	if n := len(l.Run.Others); n != len(l.Others) {
		return l.Wrong(3+min(n, len(l.Others)), "a recipe has no place here, or one is missing: the run is of %s, the log has %d", lang.Count(n+1, "recipe"), len(l.Others)+1)
	}
	if !maps.Equal(lay, l.Run.Found) {
		return l.Wrong(last, "it says where other inputs lay than the log has")
	}
	return nil
}

// record reads line i as a record of the given kind.
func (l *Log) record(i int, kind string) error {
	line := l.Lines[i]
	switch kind {
	case "log":
		return strictJSON(line, &l.Head)
	case "recipe":
		var r RecipeRecord
		err := strictJSON(line, &r)
		if len(r.Text) > lang.MaxSource {
			return fmt.Errorf("the recipe's text is longer than a recipe may be (%d MB)", lang.MaxSource>>20)
		}
		if l.Recipe.Record == "" {
			l.Recipe = r
		} else {
			l.Others = append(l.Others, r)
		}
		return cmp.Or(err, digests(r.SHA256))
	case "input":
		var r InputRecord
		err := strictJSON(line, &r)
		l.Inputs = append(l.Inputs, r)
		// The log of a build that failed knows the first only.
		return cmp.Or(err, digests(r.SHA256), digests(cmp.Or(r.Profile, zeros), cmp.Or(r.Picture, zeros)))
	case "step":
		var r StepRecord
		err := strictJSON(line, &r)
		l.Steps = append(l.Steps, r)
		return cmp.Or(err, digests(r.Profile, r.Picture), digests(r.Inputs...), digests(r.Bands...))
	case "file":
		return cmp.Or(strictJSON(line, &l.File), digests(l.File.SHA256, l.File.Picture, l.File.Mark))
	}
	if err := strictJSON(line, &l.Run); err != nil {
		return err
	}
	if !Sealed(line, &l.Run, &l.Run.Self) {
		return errors.New("its own digest doesn't fit")
	}
	return nil
}

// digests fails if one of the texts isn't a SHA-256 as records write it.
func digests(sums ...string) error {
	for _, s := range sums {
		if b, err := hex.DecodeString(s); err != nil || len(b) != sha256.Size || strings.ToLower(s) != s {
			return fmt.Errorf("%q is no SHA-256", s[:min(80, len(s))])
		}
	}
	return nil
}

// Recipes are the log's recipes, the print's own first.
func (l *Log) Recipes() []RecipeRecord { return append([]RecipeRecord{l.Recipe}, l.Others...) }

// InputLine is the line of input i, from 0.
func (l *Log) InputLine(i int) int { return 3 + len(l.Others) + i }

// Wrong is an error of one of the log's lines; line 0 is the log as a whole.
func (l *Log) Wrong(line int, format string, args ...any) *LogError {
	return &LogError{l.Path, line, fmt.Sprintf(format, args...)}
}

// Bytes is the log as a file.
func (l *Log) Bytes() []byte { return (&Chain{Lines: l.Lines}).Bytes() }

// SHA256 is the digest of the log as a file.
func (l *Log) SHA256() string { return SumOf(l.Bytes()) }

// Printed is the size of the print's picture, without border and wrap.
func (l *Log) Printed() (w, h int) {
	for _, s := range l.Steps {
		switch {
		case s.Operation == "enlarge": // a border or a wrap may follow
			return s.Width, s.Height
		case s.Picture == l.File.Picture:
			w, h = s.Width, s.Height
		}
	}
	for _, in := range l.Inputs {
		if w == 0 && in.Picture == l.File.Picture {
			w, h = in.Width, in.Height
		}
	}
	return w, h
}

// Log is the log of a chain's determined records, which this engine has
// just written.
func (c *Chain) Log() (*Log, error) {
	l := &Log{Lines: c.Lines}
	for i, line := range l.Lines {
		var k lineHead
		err := json.Unmarshal(line, &k)
		if err == nil {
			err = l.record(i, k.Record)
		}
		if err != nil {
			return nil, err
		}
	}
	return l, nil
}
