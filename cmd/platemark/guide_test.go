package main

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"platemark/lang"
	"platemark/recipes"
)

// guideScale is by how much pictures and prints of the guide are smaller in the
// test; 1 does all of it as it is written.
const guideScale = 16

var (
	guideFence   = regexp.MustCompile("(?ms)^```(\\w+)\n(.*?)^```$")
	guideCommand = regexp.MustCompile(`platemark ((?:register )?[a-z]+)`)
	guideWord    = regexp.MustCompile(`"[^"]*"|\S+`)
	guideBlock   = regexp.MustCompile(`(?m)^(#.*\n)*[a-z].*\{\n(.*\n)*?\}\n`)
	guideName    = regexp.MustCompile(`(?m)^(prepare|[a-z]+ [a-z-]+)`)
	guideFlag    = regexp.MustCompile(`--[a-z-]+`)
	guideNumber  = regexp.MustCompile(`[0-9][0-9.]*`)
	guideSection = regexp.MustCompile(`^\d+(,\d+){3}$`)
)

// guideCmd goes through lang/GUIDE.md as its reader does: puts what the pages
// show into the recipe, types each command, and finds what is shown of its
// output.
func guideCmd(ts *testscript.TestScript, neg bool, args []string) {
	text := lang.Explain("guide")[0].Markdown
	said := ""
	for _, m := range guideFence.FindAllStringSubmatch(text, -1) {
		kind, body := m[1], m[2]
		switch kind {
		case "recipe":
			file := ts.MkAbs("evening.recipe")
			old, err := os.ReadFile(file)
			ts.Check(err)
			ts.Check(os.WriteFile(file, []byte(putBlocks(string(old), guideSmall(body))), 0o666))
			ts.Check(ts.Exec("platemark", "check", "evening.recipe"))
			ts.Check(ts.Exec("platemark", "fmt", "--check", "evening.recipe"))
			ts.Check(ts.Exec("platemark", "build", "evening.recipe", "--out", "page", "--force"))
		case "sh":
			for _, line := range strings.Split(strings.TrimSpace(body), "\n") {
				guideType(ts, line)
				said += ts.ReadFile("stdout") + ts.ReadFile("stderr")
			}
			continue // what follows may show its output
		case "text":
			for _, line := range strings.Split(strings.TrimSpace(body), "\n") {
				if !strings.Contains(guideFigures(said), guideFigures(line)) {
					ts.Fatalf("the guide shows %q, the program says\n%s", line, said)
				}
			}
		default:
			ts.Fatalf("the guide has a block of %s", kind)
		}
		said = ""
	}
	finished, err := recipes.Files.ReadFile("evening.recipe")
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs("finished.recipe"), []byte(guideSmall(string(finished))), 0o666))
	ts.Check(ts.Exec("platemark", "diff", "finished.recipe", "evening.recipe"))

	// What stands in the text names commands and flags that there are.
	help := ""
	for _, m := range guideCommand.FindAllStringSubmatch(text, -1) {
		ts.Check(ts.Exec("platemark", append(strings.Fields(m[1]), "--help")...))
		help += ts.ReadFile("stdout")
	}
	for _, flag := range guideFlag.FindAllString(text, -1) {
		if !strings.Contains(help, flag) {
			ts.Fatalf("no command has %s", flag)
		}
	}
}

// guideType runs one line of the guide.
func guideType(ts *testscript.TestScript, line string) {
	var args []string
	for _, w := range guideWord.FindAllString(line, -1) {
		w = strings.Trim(w, `"`)
		if guideSection.MatchString(w) {
			w = guideNumber.ReplaceAllStringFunc(w, func(n string) string {
				v, _ := strconv.Atoi(n)
				return strconv.Itoa(v / guideScale)
			})
		}
		if strings.Contains(w, "*") {
			list, err := filepath.Glob(ts.MkAbs(w))
			ts.Check(err)
			args = append(args, list...)
			continue
		}
		args = append(args, w)
	}
	switch {
	case args[0] == "cd":
		ts.Check(ts.Chdir(args[1]))
		ts.Check(ts.Exec("platemark", "version"))
	case line == "platemark demo" && guideScale > 1:
		ts.Check(os.Mkdir(ts.MkAbs("platemark-demo"), 0o777))
		ts.Check(writePapers(ts.MkAbs("platemark-demo")))
		ts.Check(drawMaster(context.Background(), ts.MkAbs("platemark-demo/marsh.tif"), demoW/guideScale, demoH/guideScale, func(string, int64, int64) {}))
		other := ts.MkAbs("platemark-demo/marsh-papers.recipe")
		ts.Check(os.WriteFile(other, []byte(guideSmall(ts.ReadFile(other))), 0o666))
		ts.Check(ts.Exec("platemark", "version"))
	default:
		// Of these, 1 says that something differs, which the guide shows.
		var ended *exec.ExitError
		if err := ts.Exec(args[0], args[1:]...); err != nil && !(args[1] == "diff" && errors.As(err, &ended) && ended.ExitCode() == 1) {
			ts.Fatalf("%s: %v", line, err)
		}
	}
}

// guideSmall makes a print smaller by its pixels an inch.
func guideSmall(recipe string) string {
	return strings.ReplaceAll(recipe, "300 ppi", strconv.FormatFloat(300.0/guideScale, 'f', -1, 64)+" ppi")
}

// guideFigures leaves only the figures' places where pictures are smaller than
// those that the guide speaks of.
func guideFigures(s string) string {
	if guideScale > 1 {
		s = guideNumber.ReplaceAllString(s, "0")
	}
	return s
}

// putBlocks puts blocks into a recipe in place of those of the same name,
// otherwise at its end; a whole recipe takes the place of all.
func putBlocks(recipe, blocks string) string {
	if strings.HasPrefix(blocks, "recipe ") {
		return blocks
	}
	for _, b := range guideBlock.FindAllString(blocks, -1) {
		name := guideName.FindString(b)
		old := regexp.MustCompile(`(?m)^(#.*\n)*` + name + `\b.*\{\n(.*\n)*?\}\n`)
		if old.MatchString(recipe) {
			recipe = old.ReplaceAllLiteralString(recipe, b)
		} else {
			recipe += "\n" + b
		}
	}
	return recipe
}

// Each picture of the guide is there, and small.
func TestGuidePictures(t *testing.T) {
	list := regexp.MustCompile(`\]\((guide/\w+\.jpg)\)`).FindAllStringSubmatch(lang.Explain("guide")[0].Markdown, -1)
	if len(list) < 5 {
		t.Errorf("%d pictures", len(list))
	}
	for _, m := range list {
		if st, err := os.Stat("../../lang/" + m[1]); err != nil || st.Size() > 150_000 {
			t.Errorf("%s: %v, %v", m[1], st, err)
		}
	}
}
