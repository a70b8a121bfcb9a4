package main

import (
	"embed"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/alecthomas/kong"

	"platemark/interp"
	"platemark/lang"
)

type completionCmd struct {
	Shell string   `arg:"" enum:"bash,zsh,fish,words" help:"The shell: bash, zsh or fish."`
	Words []string `arg:"" optional:"" passthrough:"" hidden:"" help:"For the shell's own use: the words typed so far, the last one unfinished."`
}

func (completionCmd) Help() string {
	return `Prints what makes a shell complete commands, flags, files, and names in recipes: prints behind --print, blocks behind copy, words behind explain.

Examples:
  source <(platemark completion bash)        # in ~/.bashrc
  source <(platemark completion zsh)         # in ~/.zshrc
  platemark completion fish > ~/.config/fish/completions/platemark.fish`
}

// completionScripts are for the shells. They ask "completion words" with the
// words typed so far and get the possible ones, one a line; where there is none
// they complete files. They ask the program as it was typed, so that it needn't
// be on the path.
//
//go:embed completion
var completionScripts embed.FS

func (c *completionCmd) Run(a *app, k *kong.Kong) error {
	if c.Shell != "words" {
		if len(c.Words) > 0 {
			return usageError{fmt.Sprintf("completion %s takes nothing more", c.Shell)}
		}
		script, err := completionScripts.ReadFile("completion/" + c.Shell)
		fmt.Fprintf(a.out, "%s", script)
		return err
	}
	words := c.Words
	if len(words) > 0 && words[0] == "--" {
		words = words[1:]
	}
	if len(words) == 0 {
		words = []string{""}
	}
	for _, w := range completeWords(k.Model, words) {
		fmt.Fprintln(a.out, w)
	}
	return nil
}

// completeWords returns what the last of the words may become; none where only
// files fit.
func completeWords(model *kong.Application, words []string) []string {
	// bash takes --flag=value apart at the =.
	if n := len(words); n > 2 && words[n-1] == "=" {
		words = append(slices.Clone(words[:n-1]), "")
	} else if n > 3 && words[n-2] == "=" {
		words = slices.Delete(slices.Clone(words), n-2, n-1)
	}
	last := words[len(words)-1]
	cmd, depth := verbOf(model, words[:len(words)-1])
	at := model.Node
	if cmd != nil {
		at = cmd
	}
	if depth == len(words)-1 && len(at.Children) > 0 && !strings.HasPrefix(last, "-") {
		var names []string
		for _, n := range at.Children {
			names = append(names, n.Name)
		}
		return startingWith(names, last)
	}
	if cmd == nil {
		return nil
	}
	before := words[depth : len(words)-1]
	if strings.HasPrefix(last, "-") {
		if flag, value, ok := strings.Cut(last, "="); ok {
			out := startingWith(flagValues(cmd, flag, words), value)
			for i, v := range out {
				out[i] = flag + "=" + v
			}
			return out
		}
		var flags []string
		for _, f := range cmd.Flags {
			if !f.Hidden {
				flags = append(flags, "--"+f.Name)
			}
		}
		return startingWith(append(flags, "--help"), last)
	}
	if len(before) > 0 && strings.HasPrefix(before[len(before)-1], "-") {
		if v := flagValues(cmd, before[len(before)-1], words); v != nil {
			return startingWith(v, last)
		}
	}
	switch cmd.Name {
	case "explain":
		var all []string
		for _, t := range lang.Topics() {
			all = append(all, t.Words...)
		}
		return startingWith(all, last)
	case "completion":
		return startingWith([]string{"bash", "zsh", "fish"}, last)
	case "copy":
		return completeCopy(before, last)
	}
	return nil
}

// flagValues are the values of a flag, where they are known.
func flagValues(cmd *kong.Node, flag string, words []string) []string {
	for _, f := range cmd.Flags {
		if "--"+f.Name != flag {
			continue
		}
		if f.Enum != "" {
			return strings.Split(f.Enum, ",")
		}
		switch f.Name {
		case "print", "approve":
			switch names := recipesOf(words); cmd.Name {
			case "sheet":
				return namesIn(names, "sheet")
			case "build", "plan", "diff":
				return append(namesIn(names, "print"), namesIn(names, "sheet")...)
			default:
				return namesIn(names, "print")
			}
		case "paper":
			return namesIn(recipesOf(words), "paper")
		}
	}
	return nil
}

// completeCopy completes kinds, then names of that kind in the recipes that
// are typed or lie in the folder; behind them files.
func completeCopy(before []string, last string) []string {
	prev := ","
	if n := len(before); n > 0 {
		prev = before[n-1]
	}
	switch {
	case slices.Contains(lang.BlockKinds, prev):
		return startingWith(namesIn(recipesOf(before), prev), last)
	case strings.HasSuffix(prev, ","), strings.HasPrefix(prev, "--"):
		return startingWith(lang.BlockKinds, last)
	}
	return nil
}

// recipesOf are the recipes among the words, else those of the folder.
func recipesOf(words []string) []string {
	var out []string
	for _, w := range words {
		if st, err := os.Stat(w); err == nil && st.Mode().IsRegular() && strings.HasSuffix(w, ".recipe") {
			out = append(out, w)
		}
	}
	if len(out) == 0 {
		out = fitting("*.recipe")
	}
	return out
}

// namesIn lists the names of a kind in recipes, each once. Files that can't be
// read have none.
func namesIn(files []string, kind string) []string {
	out := []string{}
	for _, f := range files {
		b, err := interp.ReadRecipe(f)
		if err != nil {
			continue
		}
		for _, n := range lang.Blocks(b) {
			if n.Kind == kind && !slices.Contains(out, n.Name) {
				out = append(out, n.Name)
			}
		}
	}
	return out
}

func startingWith(list []string, start string) []string {
	var out []string
	for _, w := range list {
		if strings.HasPrefix(w, start) && !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return out
}
