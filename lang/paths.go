package lang

import (
	"fmt"
	"path"
	"strings"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// FoldPath brings a path to the form in which two names that are one file on
// some file system are equal: cleaned, case-folded in full, composed (Unicode
// NFC), without spaces and points at the end of a part.
func FoldPath(p string) string {
	p = norm.NFC.String(cases.Fold().String(norm.NFD.String(path.Clean(p))))
	parts := strings.Split(p, "/")
	for i, x := range parts {
		if x != ".." && x != "." {
			parts[i] = strings.TrimRight(x, " .")
		}
	}
	return strings.Join(parts, "/")
}

// paths checks every path of a recipe and that no print file takes the place
// of another file.
func (r *reader) paths(rec *Recipe) {
	type file struct {
		t    Text
		what string
	}
	var reads []file
	for _, t := range rec.Files() {
		r.path(t)
		reads = append(reads, file{t, "read"})
	}
	if rec.Inputs != nil {
		seen := map[string]Text{}
		used := map[string]bool{}
		for _, f := range reads {
			used[path.Clean(f.t.Value)] = true
		}
		for _, in := range rec.Inputs.Lines {
			r.path(in.Path)
			if !goodDigest(in.SHA256.Value) {
				r.add("PM605", in.SHA256.Span, "a digest has 64 hexadecimal digits in lower case", fmt.Sprintf("This one has %d characters.", len([]rune(in.SHA256.Value))), "run platemark pin again")
			}
			c := path.Clean(in.Path.Value)
			if o, ok := seen[c]; ok {
				r.add("PM606", in.Path.Span, fmt.Sprintf("%q is pinned twice, on line %d and on line %d", in.Path.Value, o.Line, in.Path.Line), "", "keep one of the two")
			}
			seen[c] = in.Path
			if !used[c] && !r.anyBroken() {
				r.add("PM652", in.Path.Span, fmt.Sprintf("%q is pinned, and nothing uses it", in.Path.Value), "", "run platemark pin again, or take the line out")
			}
			reads = append(reads, file{in.Path, "pinned"})
		}
	}
	var outs []Text
	for _, p := range rec.Prints {
		if p.Save == nil {
			continue
		}
		t := p.Save.Path
		if !r.path(t) {
			continue
		}
		r.output(p.Save)
		f := FoldPath(t.Value)
		for _, o := range outs {
			if FoldPath(o.Value) == f {
				r.add("PM604", t.Span, fmt.Sprintf("%q, line %d, and %q, line %d, are one file on some systems", o.Value, o.Line, t.Value, t.Line), "Names are compared without regard to letter case and to how accents are composed.", "choose names that differ in letters")
				break
			}
		}
		for _, x := range reads {
			if FoldPath(x.t.Value) == f {
				r.add("PM603", t.Span, fmt.Sprintf("%q would take the place of %q, line %d", t.Value, x.t.Value, x.t.Line), "A print file never takes the place of a file that the recipe reads.", "choose another name")
				break
			}
		}
		outs = append(outs, t)
	}
}

// anyBroken reports whether a line could not be read, so that files may be
// missing from the tree.
func (r *reader) anyBroken() bool {
	for _, b := range append([]*block{r.top}, r.blocks...) {
		for _, st := range b.stmts {
			if st.broken {
				return true
			}
		}
	}
	return false
}

func goodDigest(s string) bool {
	if len(s) != 64 {
		return false
	}
	for _, c := range s {
		if !isDigit(c) && !(c >= 'a' && c <= 'f') {
			return false
		}
	}
	return true
}

// path checks one path: relative, forward slashes, a file's name at its end.
func (r *reader) path(t Text) bool {
	p := t.Value
	say := func(summary string, hints ...string) bool {
		r.add("PM601", t.Span, summary, "Paths are relative to the recipe's folder, with forward slashes, so that a recipe travels with its folder.", hints...)
		return false
	}
	switch {
	case strings.TrimSpace(p) == "":
		return say("this path is empty", "name the file")
	case strings.Contains(p, "://"):
		return say("this is an address, not a path", "keep the file in the recipe's folder and name it")
	case len(p) >= 2 && p[1] == ':' && (p[0] >= 'a' && p[0] <= 'z' || p[0] >= 'A' && p[0] <= 'Z'):
		return say("this path begins with a drive letter", "write it relative to the recipe: "+lastPart(p))
	case strings.Contains(p, `\`):
		return say("this path has a backslash", "write "+quote(strings.ReplaceAll(strings.TrimLeft(p, `\`), `\`, "/")))
	case p[0] == '/':
		return say("this path is absolute", "write it relative to the recipe: "+lastPart(p))
	case p[0] == '~':
		return say("~ isn't expanded", "write the path relative to the recipe: "+lastPart(p))
	case strings.HasSuffix(p, "/"), path.Base(p) == "..", path.Base(p) == ".":
		return say("this path names a folder, not a file", "name the file")
	case strings.Contains(p, "//"):
		return say("this path has two slashes in a row", "write "+quote(path.Clean(p)))
	}
	for _, c := range p {
		if wideSpace(c) {
			r.add("PM651", t.Span, fmt.Sprintf("this file name holds a special space: %s", charName(c)), "It looks like a plain space and isn't one.", "rename the file, with plain spaces")
			break
		}
	}
	return true
}

func lastPart(p string) string {
	p = strings.ReplaceAll(p, `\`, "/")
	return quote(p[strings.LastIndexAny(p, "/:")+1:])
}

func quote(s string) string {
	return `"` + strings.ReplaceAll(strings.ReplaceAll(s, `\`, `\\`), `"`, `\"`) + `"`
}

// output checks a print file's name.
func (r *reader) output(s *Save) {
	p := s.Path.Value
	if c := path.Clean(p); c == ".." || strings.HasPrefix(c, "../") {
		r.add("PM601", s.Path.Span, "a print file stays in the recipe's folder or below it", "", "write "+quote(path.Base(p)))
	}
	ext := strings.ToLower(path.Ext(p))
	stem := strings.TrimSuffix(p, path.Ext(p))
	switch {
	case s.Format == "jpeg" && ext != ".jpg" && ext != ".jpeg":
		hints := []string{"name it " + quote(stem+".jpg")}
		if ext == ".tif" || ext == ".tiff" {
			hints = append(hints, "or write save tiff "+quote(p))
		}
		r.add("PM602", s.Path.Span, "a JPEG file's name ends with .jpg or .jpeg", "", hints...)
	case s.Format == "tiff" && ext != ".tif" && ext != ".tiff":
		hints := []string{"name it " + quote(stem+".tif")}
		if ext == ".jpg" || ext == ".jpeg" {
			hints = append(hints, "or write save jpeg "+quote(p))
		}
		r.add("PM602", s.Path.Span, "a TIFF file's name ends with .tif or .tiff", "", hints...)
	}
	for _, part := range strings.Split(p, "/") {
		base, _, _ := strings.Cut(strings.ToUpper(part), ".")
		device := contains([]string{"CON", "PRN", "AUX", "NUL"}, base) ||
			len(base) == 4 && (strings.HasPrefix(base, "COM") || strings.HasPrefix(base, "LPT")) && base[3] >= '1' && base[3] <= '9'
		if strings.ContainsAny(part, `<>:"|?*`) || part != ".." && part != "." && strings.TrimRight(part, " .") != part || device || len(part) > 240 {
			r.add("PM651", s.Path.Span, fmt.Sprintf("some systems can't hold a file named %q", part), `They refuse < > : " | ? *, a space or point at the end, device names such as CON, and names above 255 bytes.`, "choose a plainer name")
			return
		}
	}
}
