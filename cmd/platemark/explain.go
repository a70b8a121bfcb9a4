package main

import (
	"fmt"
	"strings"

	"platemark/lang"
)

type explainCmd struct {
	Word []string `arg:"" optional:"" help:"A statement, parameter, unit, kernel, space, term or code, or guide; none lists them all."`
}

func (explainCmd) Help() string {
	return `Prints the entry of the language's reference for a word, or for the code of a message; or the guide, which leads through one job from the master to a reprint, whole or a page of it.

Examples:
  platemark explain sharpen
  platemark explain px
  platemark explain PM301
  platemark explain current picture
  platemark explain guide
  platemark explain dust and hot pixels`
}

func (c *explainCmd) Run(a *app) error {
	if len(c.Word) == 0 {
		for _, t := range lang.Topics() {
			name := t.Kind + "s"
			if t.Kind == "meaning" {
				name = "terms"
			}
			fmt.Fprintf(a.out, "%s:\n", name)
			for _, l := range fillLines(t.Words, a.width) {
				fmt.Fprintf(a.out, "  %s\n", l)
			}
		}
		fmt.Fprintln(a.out, "\nOne of them: platemark explain WORD")
		return nil
	}
	word := strings.Join(c.Word, " ")
	entries := lang.Explain(word)
	if len(entries) == 0 {
		a.say(anError, "the reference has no entry for %q", word)
		if near := lang.NearTopic(word); near != "" {
			a.say(aHint, "did you mean %s?", near)
		}
		a.say(aHint, "platemark explain lists all words")
		return errRefused
	}
	for i, e := range entries {
		if i > 0 {
			fmt.Fprintln(a.out)
		}
		title := e.Word + " (" + e.Kind + ")"
		fmt.Fprintf(a.out, "%s\n%s\n\n%s", title, strings.Repeat("-", len(title)), e.Text(a.width))
	}
	return nil
}

// fillLines joins words with commas into lines of a width.
func fillLines(words []string, width int) []string {
	out := []string{""}
	for i, w := range words {
		if i < len(words)-1 {
			w += ","
		}
		switch last := &out[len(out)-1]; {
		case *last == "":
			*last = w
		case len(*last)+1+len(w)+2 > width:
			out = append(out, w)
		default:
			*last += " " + w
		}
	}
	return out
}
