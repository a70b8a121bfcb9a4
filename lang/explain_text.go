package lang

import "strings"

// Text shows an entry on a terminal: paragraphs broken at width columns (80
// where width is 0), forms and examples indented, tables as lines.
func (e Entry) Text(width int) string {
	if width <= 0 {
		width = 80
	}
	width = max(width, 40)
	var b strings.Builder
	put := func(text, indent string) {
		for _, l := range wrap(plainMarkdown(text), width, indent) {
			b.WriteString(l + "\n")
		}
	}
	lines := strings.Split(strings.TrimRight(e.Markdown, "\n"), "\n")
	var header []string
	fenced := false
	for _, l := range lines {
		switch {
		case strings.HasPrefix(l, "```"):
			fenced = !fenced
			if head := strings.TrimPrefix(l, "```"); fenced && (strings.HasPrefix(head, "wrong") || strings.HasPrefix(head, "right")) {
				word, place, _ := strings.Cut(head, " ")
				b.WriteString(capital(word) + " (" + place + "):\n")
			}
		case fenced:
			b.WriteString("    " + l + "\n")
		case strings.HasPrefix(l, "| ---"):
		case strings.HasPrefix(l, "|"):
			cells := tableCells(l)
			if header == nil {
				header = cells
				continue
			}
			if header[0] == "parameter" && len(cells) == 5 {
				// value, range, default, then what it means
				if d := cells[3]; d != "must be given" && d != "left out" {
					cells[3] = "default " + d
				} else if d == "left out" {
					cells[3] = "may be left out"
				}
				put("  "+cells[0]+": "+cells[4]+" ("+strings.Join(notEmpty(cells[1:4]), "; ")+")", "      ")
				continue
			}
			put("  "+cells[0]+": "+strings.Join(notEmpty(cells[1:]), "; "), "      ")
		case strings.HasPrefix(l, "Example: `"):
			b.WriteString("Example:\n    " + strings.Trim(strings.TrimPrefix(l, "Example: "), "`") + "\n")
		case strings.HasPrefix(l, "- "):
			put(l, "  ")
		case strings.HasPrefix(l, "!["): // a picture
		case strings.HasPrefix(l, "#"):
			put(strings.TrimLeft(l, "# "), "")
		case l == "":
			header = nil
			b.WriteByte('\n')
		default:
			put(l, "")
		}
	}
	return b.String()
}

func notEmpty(cells []string) []string {
	var out []string
	for _, c := range cells {
		if c != "" && c != "–" {
			out = append(out, c)
		}
	}
	return out
}

// plainMarkdown drops the marks of strong words and of code.
func plainMarkdown(s string) string {
	return strings.NewReplacer("**", "", "`", "").Replace(s)
}
