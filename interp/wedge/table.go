package wedge

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"
)

// cell is a value of the file and where it stands.
type cell struct {
	text      string
	line, col int // from 1, the column in characters
}

// table is a file's columns by their names as written, and its rows.
type table struct {
	head []cell
	rows [][]cell
}

// A file of measurements has a few thousand patches at most. MaxFile is how many
// bytes are read of one.
const (
	MaxFile = 4 << 20
	maxRows = 20000
)

func wrong(c cell, format string, v ...any) error {
	return fmt.Errorf("line %d, column %d: %s", c.line, c.col, fmt.Sprintf(format, v...))
}

// readTable reads either form: the text form of ISO 28178, which has a line
// BEGIN_DATA, or a table whose first line names its columns.
func readTable(data []byte) (*table, error) {
	switch {
	case len(data) > MaxFile:
		return nil, fmt.Errorf("it has %d bytes; a file of measurements has %d at most", len(data), MaxFile)
	case !utf8.Valid(data):
		return nil, fmt.Errorf("it isn't text in UTF-8; export it as plain text")
	}
	text := string(bytes.TrimPrefix(data, []byte("\xEF\xBB\xBF")))
	lines := strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text), "\n")
	for _, l := range lines {
		if f := strings.Fields(l); len(f) > 0 && strings.EqualFold(f[0], "BEGIN_DATA") {
			return readSets(lines)
		}
	}
	return readColumns(lines)
}

// readSets reads the text form of ISO 28178 (CGATS.17 before): keywords with
// values, the names of the fields between BEGIN_DATA_FORMAT and
// END_DATA_FORMAT, a set a line between BEGIN_DATA and END_DATA.
func readSets(lines []string) (*table, error) {
	t, part := &table{}, ""
	var fields, sets *cell
	for i, line := range lines {
		words, err := split(line, i+1, func(r rune) bool { return r == ' ' || r == '\t' }, true)
		if err != nil {
			return nil, err
		}
		if len(words) == 0 {
			continue
		}
		switch key := strings.ToUpper(words[0].text); {
		case key == "BEGIN_DATA_FORMAT" || key == "BEGIN_DATA":
			if part == key || key == "BEGIN_DATA_FORMAT" && t.head != nil || key == "BEGIN_DATA" && t.rows != nil {
				return nil, wrong(words[0], "a second table; keep one table a file")
			}
			part = key
		case key == "END_DATA_FORMAT" || key == "END_DATA":
			part = ""
		case part == "BEGIN_DATA_FORMAT":
			t.head = append(t.head, words...)
		case part == "BEGIN_DATA":
			t.rows = append(t.rows, words)
		case key == "NUMBER_OF_FIELDS" && len(words) > 1:
			fields = &words[1]
		case key == "NUMBER_OF_SETS" && len(words) > 1:
			sets = &words[1]
		}
	}
	if part != "" {
		return nil, fmt.Errorf("it ends before %s; it was cut off", strings.Replace(part, "BEGIN", "END", 1))
	}
	for _, c := range []struct {
		said *cell
		n    int
		what string
	}{{fields, len(t.head), "fields"}, {sets, len(t.rows), "sets"}} {
		if c.said != nil && c.said.text != strconv.Itoa(c.n) {
			return nil, wrong(*c.said, "it promises %s %s and has %d", c.said.text, c.what, c.n)
		}
	}
	return t, t.whole()
}

// readColumns reads lines of columns, parted by tabs, semicolons or commas:
// whichever of them the first line has, in this order.
func readColumns(lines []string) (*table, error) {
	t, sep := &table{}, rune(0)
	for i, line := range lines {
		if strings.TrimSpace(line) == "" {
			continue
		}
		if sep == 0 {
			for _, r := range "\t;," {
				if strings.ContainsRune(line, r) {
					sep = r
					break
				}
			}
			if sep == 0 {
				return nil, fmt.Errorf("line %d: it isn't a table: its first line names the columns, parted by commas, semicolons or tabs: name,L*,a*,b*", i+1)
			}
		}
		row, err := split(line, i+1, func(r rune) bool { return r == sep }, false)
		if err != nil {
			return nil, err
		}
		if t.head == nil {
			t.head = row
		} else {
			t.rows = append(t.rows, row)
		}
	}
	return t, t.whole()
}

// whole refuses rows that lack cells or have too many.
func (t *table) whole() error {
	switch {
	case len(t.head) == 0:
		return fmt.Errorf("it names no columns")
	case len(t.rows) == 0:
		return fmt.Errorf("it has no measurements")
	case len(t.rows) > maxRows:
		return fmt.Errorf("it has %d rows; %d are read at most", len(t.rows), maxRows)
	}
	for _, row := range t.rows {
		if len(row) != len(t.head) {
			return fmt.Errorf("line %d: it has %d values for %d columns (a decimal comma would be one too many)", row[0].line, len(row), len(t.head))
		}
	}
	return nil
}

// split parts a line at separators outside double quotes, in which a doubled
// quote is one. With words, several separators in a row part once, and # begins
// a comment.
func split(line string, at int, part func(rune) bool, words bool) (cells []cell, err error) {
	var b strings.Builder
	in, quoted, begun, col, from := false, false, false, 0, 1
	end := func() {
		if text := b.String(); !words || begun {
			if !quoted {
				text = strings.TrimSpace(text)
			}
			cells = append(cells, cell{text, at, from})
		}
		b.Reset()
		quoted, begun, from = false, false, col+1
	}
	rs := []rune(line)
	for i := 0; i < len(rs); i++ {
		r := rs[i]
		col = i + 1
		switch {
		case in && r == '"' && i+1 < len(rs) && rs[i+1] == '"':
			b.WriteRune(r)
			i++
		case r == '"':
			in, quoted = !in, true
			if !begun {
				begun, from = true, col
			}
		case in:
			b.WriteRune(r)
		case words && r == '#':
			end()
			return cells, nil
		case part(r):
			end()
		default:
			if !begun {
				begun, from = true, col
			}
			b.WriteRune(r)
		}
	}
	if in {
		return nil, fmt.Errorf("line %d: a quote is opened and not closed", at)
	}
	end()
	return cells, nil
}

var (
	numeral = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,2})?$`)
	})
	comma = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[+-]?[0-9]*,[0-9]+$`) })
)

// number reads a cell by one grammar, whatever the system's language.
func (c cell) number() (float64, error) {
	v, err := strconv.ParseFloat(c.text, 64)
	switch {
	case err == nil && numeral().MatchString(c.text):
		return v, nil
	case comma().MatchString(c.text):
		return 0, wrong(c, "%s has a decimal comma; export with decimal points: %s", c.text, strings.Replace(c.text, ",", ".", 1))
	case c.text == "":
		return 0, wrong(c, "a value is missing; measure this patch again or take its row out")
	}
	return 0, wrong(c, "%q is no number", c.text)
}
