package lang

import (
	"cmp"
	_ "embed"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/rogpeppe/go-internal/txtar"
)

// specText and bytesText are the reference itself, the language and what makes
// the bytes: what explain prints and what the tests hold the code against are
// one text.
//
//go:embed SPEC.md
var specText string

//go:embed BYTES.md
var bytesText string

// guideText leads photographers through one job.
//
//go:embed GUIDE.md
var guideText string

// Books are the three books by their names.
func Books() map[string]string {
	return map[string]string{"guide": guideText, "spec": specText, "bytes": bytesText}
}

// Entry is one entry of the reference.
type Entry struct {
	Word string // what it is looked up by: "sharpen", "px", "lanczos3", "PM301", "the frame"
	Kind string // one of entryKinds
	// Markdown is the text as the book has it, without the heading.
	Markdown string
}

// entryKinds are the kinds of entries in the order in which Topics has them.
var entryKinds = []string{"guide page", "statement", "parameter", "unit", "kernel", "space", "intent", "meaning", "operation", "chapter", "message"}

// specEntries reads the reference once.
var specEntries = sync.OnceValue(func() []Entry {
	var out []Entry
	sections := map[string]string{}
	for _, ch := range chapters() {
		for _, sec := range splitHeadings(ch.body, "### ") {
			sections[sec.title] = sec.body
			out = append(out, sectionEntries(ch.title, sec)...)
		}
		if ch.title != "Messages" && ch.title != "" {
			out = append(out, Entry{strings.ToLower(ch.title), "chapter", ch.body})
		}
	}
	for _, w := range []string{"less", "within"} {
		out = append(out, Entry{w, "parameter", chapterText("Masks")})
	}
	out = append(out, Entry{"x", "parameter", "Stands between the two measures of a size: 60 x 40 in.\n"})
	for _, w := range []string{"white", "black", "grey"} {
		out = append(out, Entry{w, "parameter", "A colour of border and wrap: white, black, or grey and its lightness from 0 to 100.\n"})
	}
	for _, w := range []string{"nan", "inf", "infinity"} {
		out = append(out, Entry{w, "meaning", "Reserved, so that no name is read as a number; a number is finite and known.\n"})
	}
	out = append(out, Entry{"guide", "guide page", guideText})
	for _, page := range splitHeadings(guideText, "## ")[1:] {
		_, title, _ := strings.Cut(page.title, " ")
		out = append(out, Entry{strings.ToLower(title), "guide page", page.body})
	}
	for _, s := range Statements() {
		for i := range s.Params {
			out = append(out, paramEntry(s, &s.Params[i], sections[s.heading()])...)
		}
	}
	var unique []Entry
	seen := map[string]bool{}
	for _, e := range out {
		if k := e.Kind + " " + e.Word + " " + e.Markdown; !seen[k] {
			seen[k] = true
			unique = append(unique, e)
		}
	}
	return unique
})

type specHeading struct{ title, body string }

// splitHeadings cuts a text at its headings of one level; what stands before
// the first has no title. Lines inside fences are never headings.
func splitHeadings(text, mark string) []specHeading {
	out := []specHeading{{}}
	fenced := false
	for _, l := range strings.SplitAfter(text, "\n") {
		if strings.HasPrefix(l, "```") {
			fenced = !fenced
		}
		if !fenced && strings.HasPrefix(l, mark) {
			out = append(out, specHeading{title: strings.TrimSpace(l[len(mark):])})
			continue
		}
		out[len(out)-1].body += l
	}
	return out
}

// chapters are the chapters of the reference's books.
func chapters() []specHeading {
	return append(splitHeadings(specText, "## "), splitHeadings(bytesText, "## ")...)
}

// chapterText is what a chapter says before its first section.
func chapterText(title string) string {
	for _, ch := range chapters() {
		if ch.title == title {
			return strings.TrimSpace(splitHeadings(ch.body, "### ")[0].body) + "\n"
		}
	}
	return ""
}

func sectionEntries(chapter string, sec specHeading) []Entry {
	body := strings.TrimSpace(sec.body) + "\n"
	kind := map[string]string{"Units": "unit", "Kernels": "kernel", "Spaces": "space", "Intents": "intent"}[sec.title]
	switch {
	case kind != "":
		out := []Entry{{kind, "meaning", body}}
		for _, r := range tableRows(body)[1:] {
			out = append(out, Entry{r[0], kind, strings.Join(r[1:], ": ") + "\n" + state(kind+" "+r[0]+" 1")})
		}
		return out
	case chapter == "Messages":
		return messageEntries(body)
	case chapter == "Operations" && sec.title != "":
		name := strings.TrimPrefix(sec.title, "Operation ")
		return []Entry{{name, "operation", body + state("operation "+name+" 1")}}
	case slices.Contains([]string{"Meaning", "Lexical rules", "Print files", "Digests, marks and logs"}, chapter):
		var out []Entry
		for _, p := range strings.Split(body, "\n") {
			if rest, ok := strings.CutPrefix(p, "- **"); ok {
				term, text, _ := strings.Cut(rest, "**")
				out = append(out, Entry{strings.ToLower(strings.TrimRight(term, ".")), "meaning", strings.ReplaceAll(p[2:], "**"+term+"**"+text, capital(term+text)) + "\n"})
			}
		}
		if sec.title != "" {
			out = append(out, Entry{strings.ToLower(sec.title), "meaning", body})
		}
		return out
	case slices.Contains([]string{"Statements", "Papers and labs", "Masks", "Steps", "Tones", "Prints", "Sheets"}, chapter) && sec.title != "":
		word, _, _ := strings.Cut(sec.title, ",")
		return []Entry{{word, "statement", body + state("statement "+sec.title)}}
	case sec.title != "":
		return []Entry{{strings.ToLower(sec.title), "chapter", body}}
	}
	return nil
}

// paramEntry leads from a parameter's words to what they mean and to the
// statement that takes them.
func paramEntry(s *Statement, p *Param, section string) []Entry {
	owner := cmp.Or(s.Word, "a line of inputs")
	// What the statement's section says of the parameter in its table.
	_, row, _ := strings.Cut(section, "\n"+specRow(p)+" ")
	row, _, _ = strings.Cut(row, "\n")
	meaning := strings.TrimSpace(strings.TrimSuffix(row, "|"))
	entry := func(w, text string) Entry {
		return Entry{w, "parameter", text + " " + owner + ": " + meaning + ".\n\n```\n" + s.Usage() + "\n```\n"}
	}
	var out []Entry
	if p.Word != "" {
		e := entry(p.Word, "A parameter of")
		if p.Ranges != nil {
			e.Markdown += "\nIt may be " + p.ranges() + ".\n"
		}
		if p.Default != "" {
			e.Markdown += "\nLeft out, it is " + p.Default + ".\n"
		}
		out = append(out, e)
	}
	for _, w := range slices.Concat([]string{p.Tail}, p.Words, p.OneOf) {
		if w != "" {
			out = append(out, entry(w, "A word of"))
		}
	}
	return out
}

// ranges shows what a parameter's numbers may be.
func (p *Param) ranges() string {
	var out []string
	for i, r := range p.Ranges {
		if last := len(out) - 1; i > 0 && p.Ranges[i-1].Unit == r.Unit+"s" { // stops, and one stop
			out[last] += " or " + r.Unit
		} else {
			out = append(out, r.String())
		}
	}
	return strings.Join(out, ", ")
}

// specRow is how SPEC begins the line of a parameter: name, value, range,
// default.
func specRow(p *Param) string {
	value := kinds[p.Kind].said
	switch {
	case p.Kind == valueWord:
		value = orList(p.Words)
	case p.Kind == valueList:
		value = andList(p.Words) + ", one or both"
	case p.OneOf != nil:
		value = orList(p.OneOf)
	}
	def := cmp.Or(p.Default, "must be given")
	if p.Default == "" && p.Optional {
		def = "left out"
	}
	name := cmp.Or(p.Word, "("+p.Label+")")
	if p.Tail != "" {
		name += " … " + p.Tail
	}
	return fmt.Sprintf("| %s | %s | %s | %s |", name, value, cmp.Or(p.ranges(), "–"), def)
}

func (s *Statement) heading() string {
	switch in := s.Blocks[0]; {
	case s.Word == "":
		return "a line of inputs"
	case s.Word == "mask" && in == "mask":
		return "mask, in a mask"
	case in == "sheet" && s.Word == "size":
		return "size, in a sheet"
	case in == "paper" || in == "lab" || in == "tone":
		return s.Word + ", in a " + in
	}
	return s.Word
}

// tableRows returns the cells of the tables in a Markdown text, the heading
// row first, without the row of dashes.
func tableRows(text string) [][]string {
	var out [][]string
	for _, l := range strings.Split(text, "\n") {
		if !strings.HasPrefix(l, "|") || strings.HasPrefix(l, "| ---") {
			continue
		}
		out = append(out, tableCells(l))
	}
	return out
}

// tableCells cuts a row at its bars; \| is a bar in a cell.
func tableCells(l string) []string {
	const bar = "\x00"
	l = strings.Trim(strings.ReplaceAll(strings.TrimSpace(l), `\|`, bar), "|")
	cells := strings.Split(l, "|")
	for i := range cells {
		cells[i] = strings.ReplaceAll(strings.TrimSpace(cells[i]), bar, "|")
	}
	return cells
}

// Explain returns the entries of a word: a statement, a parameter, a unit, a
// kernel, a space, an intent, a term, an operation, the code of a message. It
// is empty where the reference has none; of several words that are none together, the
// first one's. Capitals count only where two words differ in nothing else.
func Explain(word string) []Entry {
	word = strings.TrimSpace(word)
	var out []Entry
	for _, same := range []func(a, b string) bool{
		func(a, b string) bool { return a == b },
		strings.EqualFold,
		func(a, b string) bool { return strings.EqualFold(strings.TrimPrefix(a, "the "), b) },
		func(a, b string) bool { return strings.EqualFold(a, b+"s") || strings.EqualFold(a+"s", b) }, // name, kernels
	} {
		for _, k := range entryKinds {
			for _, e := range specEntries() {
				if e.Kind == k && same(e.Word, word) {
					out = append(out, e)
				}
			}
		}
		if out != nil {
			break
		}
	}
	if first, _, two := strings.Cut(word, " "); out == nil && two { // as spot pixels
		return Explain(first)
	}
	return out
}

// Topic is one kind of entry with its words, as explain lists them.
type Topic struct {
	Kind  string
	Words []string
}

// Topics lists every word that Explain knows, by kind.
func Topics() []Topic {
	var out []Topic
	for _, k := range entryKinds {
		t := Topic{Kind: k}
		for _, e := range specEntries() {
			if e.Kind == k {
				t.Words = appendNew(t.Words, e.Word)
			}
		}
		if len(t.Words) > 0 {
			out = append(out, t)
		}
	}
	return out
}

// NearTopic returns the known word that is nearest to one without entry, or
// "" where none is near.
func NearTopic(word string) string {
	var all []string
	for _, t := range Topics() {
		all = append(all, t.Words...)
	}
	if u := meantUnit(word); u != "" {
		return u
	}
	if s, ok := synonyms[strings.ToLower(word)]; ok {
		return s
	}
	return nearest(word, all)
}

// messageEntries are the messages of one section, each with its example.
func messageEntries(section string) []Entry {
	var out []Entry
	for _, l := range strings.Split(section, "\n") {
		l, ok := strings.CutPrefix(l, "- **")
		if !ok {
			continue
		}
		code, text, _ := strings.Cut(l, "** ")
		for _, x := range Examples() {
			if x.Code == code {
				text += "\n\n```wrong " + x.Place + "\n" + x.Wrong + "\n```\n\n```right " + x.Place + "\n" + x.Right + "\n```\n"
			}
		}
		out = append(out, Entry{code, "message", text})
	}
	return out
}

// Example is the wrong and the right example of a message's code.
type Example struct {
	Code         string
	Place        string // where the lines stand: print, mask, file, …
	Wrong, Right string
}

// messagesText holds the examples of all messages; its head says how.
//
//go:embed testdata/messages.txtar
var messagesText string

// Examples returns the examples of all messages, by their codes.
var Examples = sync.OnceValue(func() []Example {
	// The comments by which a wrong example says what it gives are left out.
	wanted := regexp.MustCompile(`(?m)^# want\+1 .*\n| *# want .*$`)
	return readExamples(wanted.ReplaceAllString(messagesText, ""))
})

func readExamples(text string) []Example {
	var out []Example
	for _, f := range txtar.Parse([]byte(text)).Files {
		code, what, _ := strings.Cut(f.Name, " ")
		lines := strings.TrimSuffix(string(f.Data), "\n")
		if place, ok := strings.CutPrefix(what, "wrong "); ok {
			out = append(out, Example{Code: code, Place: place, Wrong: lines})
		} else if n := len(out) - 1; n >= 0 && out[n].Code == code {
			out[n].Right = lines
		}
	}
	return out
}

// Recipe puts lines of the example into the recipe that they stand in.
func (x Example) Recipe(lines string) string {
	place, times, _ := strings.Cut(x.Place, ", ")
	if times == "escaped" {
		lines = unescape(lines)
	}
	if place == "file" {
		return lines + "\n"
	}
	at := func(p, otherwise string) string {
		if p != place {
			return otherwise
		}
		return lines + "\n"
	}
	body := at("whole print", "size 3 in x 2 in at 300 ppi\n"+at("print", "")+"save tiff \"small.tif\"\n")
	return "recipe 1 draft\nmaster \"salt-road.tif\"\n" + at("top", "") +
		"mask reeds {\n" + at("mask", "ellipse at (50%, 50%) size 20% x 10%\n") + "}\n" +
		"prepare {\n" + at("prepare", "") + "}\n" +
		"steps wall {\n" + at("steps", "spot pixels over 12% through reeds\n") + "}\n" +
		"print small {\n" + body + "}\n" +
		"print again {\nsize 3 in x 2 in at 300 ppi\nfollow wall\nsave tiff \"again.tif\"\n}\n"
}

// unescape reads the \xXX, \uXXXX, \n and \t of an escaped example.
func unescape(s string) string {
	out, err := strconv.Unquote(`"` + strings.NewReplacer(`"`, `\"`, "\n", `\n`).Replace(s) + `"`)
	if err != nil {
		return s
	}
	return out
}
