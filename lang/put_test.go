package lang

import (
	"strings"
	"testing"
)

// A line is put where it is asked for, with its neighbours' indent and the file's
// line ends; a block that lacks is made in its place; nothing else changes.
func TestPut(t *testing.T) {
	for _, c := range []struct {
		src   string
		block BlockName
		after int
		want  string
	}{
		{"recipe 1 draft\nprepare {\n\tspot a # why\n}\n", BlockName{"prepare", ""}, 3, "recipe 1 draft\nprepare {\n\tspot a # why\n\tNEW\n}\n"},
		{"recipe 1 draft\r\nprepare {\r\n    spot a\r\n}", BlockName{"prepare", ""}, 0, "recipe 1 draft\r\nprepare {\r\n    NEW\r\n    spot a\r\n}"},
		{"recipe 1 draft\nmask a {\n  stroke x\n}\nmask b {\n  y\n}\n", BlockName{"mask", "b"}, 6, "recipe 1 draft\nmask a {\n  stroke x\n}\nmask b {\n  y\n  NEW\n}\n"},
		{"recipe 1 draft\n\n# a print\nprint p {\n}\n", BlockName{"prepare", ""}, 0, "recipe 1 draft\n\nprepare {\n    NEW\n}\n\n# a print\nprint p {\n}\n"},
		{"recipe 1 draft\n\nmask a {\n}\n\nprint p {\n}\n", BlockName{"mask", "b"}, 0, "recipe 1 draft\n\nmask a {\n}\n\nmask b {\n    NEW\n}\n\nprint p {\n}\n"},
		{"recipe 1 draft\r\nprepare {\r\n  a\r\n}\r\n", BlockName{"prepare", ""}, 3, "recipe 1 draft\r\nprepare {\r\n  a\r\n  NEW\r\n  TOO\r\n}\r\n"},
		{"recipe 1 draft\n\nprint p {\n}\n", BlockName{"prepare", ""}, 0, "recipe 1 draft\n\nprepare {\n    NEW\n    TOO\n}\n\nprint p {\n}\n"},
	} {
		lines := []string{"NEW"}
		if strings.Contains(c.want, "TOO") {
			lines = append(lines, "TOO")
		}
		if got := string(Apply([]byte(c.src), Put([]byte(c.src), c.block, c.after, lines...))); got != c.want {
			t.Errorf("%v behind %d: %q", c.block, c.after, got)
		}
	}
}
