package lsp

import (
	"strings"

	"platemark/lang"
)

// reference is the entry of a word in the reference: of its statement, unit,
// kernel or space, or where it is something else, of what it is.
func reference(kind lang.Kind, statement, word string) string {
	want := map[lang.Kind]string{lang.KindUnit: "unit", lang.KindKernel: "kernel", lang.KindSpace: "space"}[kind]
	if want == "" && statement == "" {
		want = "statement"
	}
	var out, all []string
	for _, e := range lang.Explain(word) {
		all = append(all, e.Markdown)
		if e.Kind == want {
			out = append(out, e.Markdown)
		}
	}
	if len(out) == 0 {
		out = all[:min(len(all), 3)] // of a word with many uses, the first few
	}
	if len(out) == 0 {
		return ""
	}
	return "**" + word + "**\n\n" + strings.Join(out, "\n---\n\n")
}
