package lang

import "testing"

// Only the number changes; where there is none, one line is added.
func TestSetRound(t *testing.T) {
	for _, c := range []struct{ what, src, want string }{
		{"a number", "recipe 1 draft\nround   4   # proofs\nmaster \"m.tif\"\n", "recipe 1 draft\nround   5   # proofs\nmaster \"m.tif\"\n"},
		{"its own layout", "recipe 1 draft\r\n  round 4\r\n", "recipe 1 draft\r\n  round 5\r\n"},
		{"behind the recipe line", "recipe 1 draft  # x\nmaster \"m.tif\"\n", "recipe 1 draft  # x\nround   5\nmaster \"m.tif\"\n"},
		{"behind the rights", "\ufeffrecipe 1\ntitle \"round 3\"\nrights \"a\"\n\nmaster \"m.tif\"\n", "\ufeffrecipe 1\ntitle \"round 3\"\nrights \"a\"\nround   5\n\nmaster \"m.tif\"\n"},
		{"CRLF", "recipe 1\r\nmaster \"m.tif\"\r\n", "recipe 1\r\nround   5\r\nmaster \"m.tif\"\r\n"},
		{"no last line end", "recipe 1", "recipe 1\nround   5"},
	} {
		got, err := SetRound([]byte(c.src), 5)
		if err != nil || string(got) != c.want {
			t.Errorf("%s: %q, %v; want %q", c.what, got, err, c.want)
		}
	}
	for _, src := range []string{"", "master \"m.tif\"\n", "recipe 1\nround 4 5\n"} {
		if _, err := SetRound([]byte(src), 5); err == nil {
			t.Errorf("%q: no error", src)
		}
	}
	if _, err := SetRound([]byte("recipe 1\n"), 0); err == nil {
		t.Error("round 0: no error")
	}
}
