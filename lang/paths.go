package lang

import (
	"fmt"
	"path"
	"strings"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// foldPath brings a path to the form in which two names that are one file on
// some file system are equal: cleaned, case-folded in full, composed (Unicode
// NFC), without spaces and points at the end of a part.
func foldPath(p string) string {
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
func (c *checker) paths() {
	reads := map[string]Text{} // folded
	read := func(t Text) {
		if f := foldPath(t.Value); reads[f].Line == 0 {
			reads[f] = t
		}
	}
	used := map[string]bool{}
	for _, t := range c.rec.Files() {
		c.path(t)
		read(t)
		used[path.Clean(t.Value)] = true
	}
	if c.rec.Inputs != nil {
		seen := map[string]Text{}
		whole := !c.broken()
		for _, in := range c.rec.Inputs.Lines {
			c.path(in.Path)
			if !goodDigest(in.SHA256.Value) {
				c.add("PM605", in.SHA256.Span, "a digest has 64 hexadecimal digits in lower case", fmt.Sprintf("This one has %s.", Count(len([]rune(in.SHA256.Value)), "character")), "run platemark pin again")
			}
			clean := path.Clean(in.Path.Value)
			if o, ok := seen[clean]; ok {
				c.add("PM606", in.Path.Span, fmt.Sprintf("%q is pinned twice, on line %d and on line %d", in.Path.Value, o.Line, in.Path.Line), "", "keep one of the two")
			}
			seen[clean] = in.Path
			if !used[clean] && whole {
				c.add("PM652", in.Path.Span, fmt.Sprintf("%q is pinned, and nothing uses it", in.Path.Value), "", "run platemark pin again, or take the line out")
			}
			read(in.Path)
		}
	}
	outs := map[string]Text{} // folded
	for _, p := range c.rec.Prints {
		if p.Save == nil {
			continue
		}
		t := p.Save.Path
		if !c.path(t) {
			continue
		}
		c.output(p.Save)
		f := foldPath(t.Value)
		if o, ok := outs[f]; ok {
			c.add("PM604", t.Span, fmt.Sprintf("%q, line %d, and %q, line %d, are one file on some systems", o.Value, o.Line, t.Value, t.Line), "Names are compared without regard to letter case and to how accents are composed.", "choose names that differ in letters")
		} else {
			outs[f] = t
		}
		if x, ok := reads[f]; ok {
			c.add("PM603", t.Span, fmt.Sprintf("%q would take the place of %q, line %d", t.Value, x.Value, x.Line), "A print file never takes the place of a file that the recipe reads.", "choose another name")
		}
	}
}

func goodDigest(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}

// path checks one path: relative, forward slashes, a file's name at its end.
func (c *checker) path(t Text) bool {
	p := t.Value
	say := func(summary string, hints ...string) bool {
		c.add("PM601", t.Span, summary, "Paths are relative to the recipe's folder, with forward slashes, so that a recipe travels with its folder.", hints...)
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
	c.travels(t)
	for _, x := range p {
		if wideSpace(x) {
			c.add("PM651", t.Span, fmt.Sprintf("this file name holds a special space: %s", charName(x)), "It looks like a plain space and isn't one.", "rename the file, with plain spaces")
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
func (c *checker) output(s *Save) {
	p := s.Path.Value
	if x := path.Clean(p); x == ".." || strings.HasPrefix(x, "../") {
		c.add("PM601", s.Path.Span, "a print file stays in the recipe's folder or below it", "", "write "+quote(path.Base(p)))
	}
	ext := strings.ToLower(path.Ext(p))
	stem := strings.TrimSuffix(p, path.Ext(p))
	switch {
	case s.Format == "jpeg" && ext != ".jpg" && ext != ".jpeg":
		hints := []string{"name it " + quote(stem+".jpg")}
		if ext == ".tif" || ext == ".tiff" {
			hints = append(hints, "or write save tiff "+quote(p))
		}
		c.add("PM602", s.Path.Span, "a JPEG file's name ends with .jpg or .jpeg", "", hints...)
	case s.Format == "tiff" && ext != ".tif" && ext != ".tiff":
		hints := []string{"name it " + quote(stem+".tif")}
		if ext == ".jpg" || ext == ".jpeg" {
			hints = append(hints, "or write save jpeg "+quote(p))
		}
		c.add("PM602", s.Path.Span, "a TIFF file's name ends with .tif or .tiff", "", hints...)
	}
	if b := path.Base(p); len(b) > MaxPrintName && len(b) <= maxName {
		c.tooLong(s.Path, b, MaxPrintName)
	}
}

// maxName is the most bytes that file systems allow a name (255 in ext4, APFS
// and ZFS, 255 UTF-16 units in NTFS; from memory).
const maxName = 255

// MaxPrintName is the most bytes that a print file's name may have: beside it
// stand names that are longer by up to 65, those of its logs while they are
// written.
const MaxPrintName = maxName - 65

// travels refuses a path with a name that another system can't hold, whichever
// this one is: recipes travel. Windows' rules are those of Microsoft's "Naming
// Files, Paths, and Namespaces" (from memory).
func (c *checker) travels(t Text) {
	parts := strings.Split(t.Value, "/")
	why := ""
	for i, part := range parts {
		if part == ".." || part == "." {
			continue
		}
		if len(part) > maxName {
			c.tooLong(t, part, maxName)
			return
		}
		name := strings.TrimRight(part, " .")
		stem, rest, _ := strings.Cut(name, ".")
		stem = strings.TrimRight(stem, " ")
		reason := ""
		switch {
		case strings.ContainsAny(name, forbidden):
			reason = name[strings.IndexAny(name, forbidden):][:1] + " can't stand in its name"
			name = strings.Map(func(c rune) rune {
				if strings.ContainsRune(forbidden, c) {
					return '-'
				}
				return c
			}, name)
		case devices[strings.ToUpper(stem)]:
			reason = stem + " is a device there"
			if name = stem + "-1"; rest != "" {
				name += "." + rest
			}
		case name != part:
			reason = "it has a point or a space at the end"
		}
		if reason != "" {
			parts[i] = name
			if why == "" {
				why = reason
			}
		}
	}
	if why != "" {
		c.add("PM608", t.Span, fmt.Sprintf("Windows can't hold a file named %s: %s", quote(t.Value), why), `A recipe travels, so names keep to what every system can hold: none of < > : " | ? *, no point or space at the end, no device's name such as con, aux, nul, com1 or lpt1, whatever its ending.`, "rename it: "+quote(strings.Join(parts, "/")))
	}
}

const forbidden = `<>:"|?*`

var devices = func() map[string]bool {
	m := setOf([]string{"CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"})
	for _, n := range strings.Split("0123456789¹²³", "") {
		m["COM"+n], m["LPT"+n] = true, true
	}
	return m
}()

func (c *checker) tooLong(t Text, name string, most int) {
	detail := fmt.Sprintf("A file's name has at most %d bytes; a letter with an accent has 2, a Chinese one 3.", most)
	if most == MaxPrintName {
		detail = fmt.Sprintf("A print file's name has at most %d bytes, so that its log's name, which is longer, fits too; a letter with an accent has 2, a Chinese one 3.", most)
	}
	c.add("PM609", t.Span, fmt.Sprintf("a name of %d bytes is too long for a file", len(name)), detail)
}
