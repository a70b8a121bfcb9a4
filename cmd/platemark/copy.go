package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
)

type copyCmd struct {
	What    []string `arg:"" name:"what" help:"Blocks by kind and name, then the recipe to copy from, then the recipes to copy into." placeholder:"KIND NAME … FROM TO …"`
	Replace bool     `help:"Put the new block in the place of one of the same kind and name."`
}

func (copyCmd) Help() string {
	return `Copies blocks (` + strings.Join(lang.BlockKinds, ", ") + `) with the comments above them from one recipe into others. Every other byte of those stays as it is. In another folder the paths of profiles and painted masks are written so that they mean the same files; names of print files stay. Nothing is written where a recipe would no longer read.

Examples:
  platemark copy mask twigs, steps wall salt-road.recipe marsh.recipe
  platemark copy --replace paper baryta salt-road.recipe *.recipe`
}

func (c *copyCmd) Run(a *app) error {
	blocks, files, err := splitCopy(c.What)
	if err != nil {
		return err
	}
	from, err := c.read(a, files[0])
	if err != nil {
		return err
	}
	// All texts are made before one is written.
	to := files[1:]
	olds, texts := make([][]byte, len(to)), make([][]byte, len(to))
	var notes []string
	for i, file := range to {
		if disk.Same(file, files[0]) {
			return usageError{fmt.Sprintf("%s is the recipe to copy from", file)}
		}
		if olds[i], err = c.read(a, file); err != nil {
			return err
		}
		m := newMover(a, files[0], file, from, olds[i])
		texts[i], err = lang.CopyBlocks(from, olds[i], blocks, c.Replace, m.move)
		notes = append(notes, m.notes...)
		var ce *lang.CopyError
		if errors.As(err, &ce) {
			a.say(anError, "%s: %s", file, ce.Summary)
			for _, h := range ce.Hints {
				a.say(aHint, "%s", h)
			}
			return errRefused
		}
		if err != nil {
			return err
		}
	}
	var names []string
	for _, b := range blocks {
		names = append(names, b.String())
	}
	for i, file := range to {
		if bytes.Equal(texts[i], olds[i]) {
			fmt.Fprintf(a.out, "%s: the same already\n", file)
			continue
		}
		if err := disk.Rewrite(file, olds[i], texts[i]); err != nil {
			return err
		}
		fmt.Fprintf(a.out, "%s: %s copied\n", file, strings.Join(names, ", "))
	}
	for _, n := range notes {
		a.say(aNote, "%s", n)
	}
	return nil
}

// A mover writes the paths of one recipe so that they mean the same files in
// another one, and notes where what was copied is another file than one would
// think there.
type mover struct {
	a                *app
	from, to         string // the recipes
	fromPins, toPins map[string]string
	notes            []string
}

func newMover(a *app, from, to string, fromText, toText []byte) *mover {
	pins := func(text []byte) map[string]string {
		m := map[string]string{}
		if rec, _ := lang.Parse("", text); rec != nil && rec.Inputs != nil {
			for _, in := range rec.Inputs.Lines {
				m[path.Clean(in.Path.Value)] = in.SHA256.Value
			}
		}
		return m
	}
	return &mover{a: a, from: from, to: to, fromPins: pins(fromText), toPins: pins(toText)}
}

func (m *mover) move(old string) (string, error) {
	at := func(recipe, p string) string { return filepath.Join(filepath.Dir(recipe), filepath.FromSlash(p)) }
	from, to := disk.Real(m.from), disk.Real(m.to)
	file, there, moved := at(from, old), at(to, old), old
	if !disk.Same(filepath.Dir(from), filepath.Dir(to)) && !disk.Same(file, there) {
		var err error
		if moved, err = plan.RelativePath(to, file); err != nil {
			return "", &lang.CopyError{Summary: err.Error(), Hints: []string{"copy the file into the recipe's folder first, and name it there"}}
		}
		if _, err := os.Stat(file); err == nil && !disk.Same(file, at(to, moved)) {
			return "", &lang.CopyError{Summary: fmt.Sprintf("no path from there leads to %s", old), Hints: []string{"a link stands on the way; name the file by where it lies"}}
		}
		if a, b := m.digest(file), m.digest(there); a != "" && b != "" && a != b {
			m.notes = append(m.notes, fmt.Sprintf("%s: %s there has other bytes than that of %s; what was copied reads %s", m.to, old, m.from, moved))
		}
	}
	if a, b := m.fromPins[path.Clean(old)], m.toPins[path.Clean(moved)]; a != "" && b != "" && a != b {
		m.notes = append(m.notes, fmt.Sprintf("%s pins %s with another digest than %s does", m.to, moved, m.from))
	}
	return moved, nil
}

// digest is the SHA-256 of a file, "" where it can't be read.
func (m *mover) digest(file string) string {
	sum, _, err := master.HashPath(m.a.ctx, file)
	if err != nil {
		return ""
	}
	return sum.String()
}

// read reads a recipe that must be right.
func (c *copyCmd) read(a *app, file string) ([]byte, error) {
	b, err := interp.ReadRecipe(file)
	if err != nil {
		return nil, err
	}
	if _, ds := lang.Parse(file, b); lang.HasErrors(ds) {
		a.problems(b, ds, lang.Error)
		return nil, errRefused
	}
	return b, nil
}

// splitCopy takes the blocks off the command line: KIND NAME, with commas
// between; NAME alone behind a comma is of the same kind. Files follow.
func splitCopy(args []string) (blocks []lang.BlockName, files []string, err error) {
	isFile := func(w string) bool { return strings.ContainsAny(w, `/\.`) }
	isKind := func(w string) bool { return slices.Contains(lang.BlockKinds, w) }
	var words []string // commas among them
	for _, w := range args {
		if isFile(w) {
			words = append(words, w)
			continue
		}
		for i, part := range strings.Split(w, ",") {
			if i > 0 {
				words = append(words, ",")
			}
			if part != "" {
				words = append(words, part)
			}
		}
	}
	kind := ""
	for len(words) > 0 && files == nil {
		switch w := words[0]; {
		case isKind(w):
			if len(words) == 1 || words[1] == "," || isFile(words[1]) {
				return nil, nil, usageError{fmt.Sprintf("%s lacks its name: write for example %s twigs", w, w)}
			}
			kind = w
			blocks, words = append(blocks, lang.BlockName{Kind: kind, Name: words[1]}), words[2:]
		case w == "," && kind != "" && len(words) > 1:
			if words = words[1:]; !isKind(words[0]) {
				blocks, words = append(blocks, lang.BlockName{Kind: kind, Name: words[0]}), words[1:]
			}
		default:
			files = words
		}
	}
	switch {
	case len(blocks) == 0:
		return nil, nil, usageError{"say what to copy, a kind and a name: " + strings.Join(lang.BlockKinds, ", ") + " and its NAME"}
	case len(files) < 2:
		return nil, nil, usageError{"say the recipe to copy from and at least one to copy into"}
	}
	return blocks, files, nil
}
