package lang

import (
	"fmt"
	"strings"
)

// maxDiffCells bounds the table of the comparison; beyond it, the changed part
// is shown as one piece.
const maxDiffCells = 16 << 20

// UnifiedDiff shows how two texts differ, in the unified form that patch
// reads, with three lines of context; "" where they don't.
func UnifiedDiff(oldName, newName string, a, b []byte) string {
	if string(a) == string(b) {
		return ""
	}
	x, y := diffLines(a), diffLines(b)
	edits := diffEdits(x, y)
	var out strings.Builder
	fmt.Fprintf(&out, "--- %s\n+++ %s\n", oldName, newName)
	const context = 3
	for i := 0; i < len(edits); {
		if edits[i].op == ' ' {
			i++
			continue
		}
		from, till := i, i // till is behind the last change of this piece
		for k := i; k < len(edits) && k < till+2*context+1; k++ {
			if edits[k].op != ' ' {
				till = k + 1
			}
		}
		lo, hi := max(from-context, 0), min(till+context, len(edits))
		an, bn := 0, 0
		var body strings.Builder
		for _, e := range edits[lo:hi] {
			body.WriteByte(e.op)
			body.WriteString(e.text)
			if !strings.HasSuffix(e.text, "\n") {
				body.WriteString("\n\\ No newline at end of file\n")
			}
			if e.op != '+' {
				an++
			}
			if e.op != '-' {
				bn++
			}
		}
		fmt.Fprintf(&out, "@@ -%s +%s @@\n%s", diffRange(edits[lo].a, an), diffRange(edits[lo].b, bn), body.String())
		i = hi
	}
	return out.String()
}

func diffRange(at, n int) string {
	switch n {
	case 0:
		return fmt.Sprintf("%d,0", at)
	case 1:
		return fmt.Sprint(at + 1)
	}
	return fmt.Sprintf("%d,%d", at+1, n)
}

// diffLines cuts a text into lines with their ends.
func diffLines(t []byte) []string {
	l := strings.SplitAfter(string(t), "\n")
	if l[len(l)-1] == "" {
		l = l[:len(l)-1]
	}
	return l
}

// diffEdit is a line kept, taken out or added; a and b count the lines of the
// two texts before it.
type diffEdit struct {
	op   byte
	text string
	a, b int
}

// diffEdits finds a longest common run of lines, by the plain table.
func diffEdits(x, y []string) []diffEdit {
	head := 0
	for head < len(x) && head < len(y) && x[head] == y[head] {
		head++
	}
	tail := 0
	for tail < len(x)-head && tail < len(y)-head && x[len(x)-1-tail] == y[len(y)-1-tail] {
		tail++
	}
	n, m := len(x)-head-tail, len(y)-head-tail
	longest := func(i, j int) int32 { return 0 }
	if n > 0 && m > 0 && n <= maxDiffCells/m {
		t := make([]int32, (n+1)*(m+1))
		for i := n - 1; i >= 0; i-- {
			for j := m - 1; j >= 0; j-- {
				if x[head+i] == y[head+j] {
					t[i*(m+1)+j] = t[(i+1)*(m+1)+j+1] + 1
				} else {
					t[i*(m+1)+j] = max(t[(i+1)*(m+1)+j], t[i*(m+1)+j+1])
				}
			}
		}
		longest = func(i, j int) int32 { return t[i*(m+1)+j] }
	}
	var out []diffEdit
	i, j := 0, 0
	put := func(op byte) {
		e := diffEdit{op: op, a: i, b: j}
		if op == '+' {
			e.text = y[j]
		} else {
			e.text = x[i]
		}
		out = append(out, e)
		if op != '+' {
			i++
		}
		if op != '-' {
			j++
		}
	}
	for i < head {
		put(' ')
	}
	for i < head+n || j < head+m {
		switch {
		case i == head+n:
			put('+')
		case j == head+m:
			put('-')
		case x[i] == y[j] && longest(i-head, j-head) > 0:
			put(' ')
		case longest(i+1-head, j-head) >= longest(i-head, j+1-head):
			put('-')
		default:
			put('+')
		}
	}
	for i < len(x) {
		put(' ')
	}
	return out
}
