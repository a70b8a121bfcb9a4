// Command reach runs everything that decides a print's bytes: each frozen
// vector, and the recipe with every step from master to print file and log. It
// prints one digest a line, so that two machines, releases or builds compare by
// their outputs. Its compiled form is what the search for fused instructions
// reads, for it reaches the whole print path.
//
//	reach [WORKERS]
//
// The working files go to a new folder below the current one and are removed.
package main

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"

	"platemark/interp"
	"platemark/interp/vectors"
	"platemark/testdata/frozen"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	var o interp.BuildOptions
	if len(args) > 0 {
		n, err := strconv.Atoi(args[0])
		if err != nil {
			return err
		}
		o.Workers = n
	}
	dir, err := frozen.Files.ReadDir(".")
	if err != nil {
		return err
	}
	for _, e := range dir {
		base, ok := strings.CutSuffix(e.Name(), ".txt")
		if !ok {
			continue
		}
		text, err := frozen.Files.ReadFile(e.Name())
		if err != nil {
			return err
		}
		if strings.HasPrefix(base, "language-") {
			recipe, err := frozen.Files.ReadFile(base + ".recipe")
			if err != nil {
				return err
			}
			if err := language(text, recipe, o); err != nil {
				return err
			}
			continue
		}
		got, err := vectors.Run(e.Name(), text)
		if err != nil {
			return err
		}
		fmt.Printf("%x  %s\n", sha256.Sum256(got), e.Name())
	}
	return nil
}

func language(text, recipe []byte, o interp.BuildOptions) error {
	work, err := os.MkdirTemp(".", "reach-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	out, logs, err := vectors.Language(context.Background(), work, text, recipe, o)
	if err != nil {
		return err
	}
	for line := range strings.Lines(string(out)) {
		if line, ok := strings.CutPrefix(line, "= "); ok {
			fmt.Print(line)
		}
	}
	var names []string
	for n := range logs {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		fmt.Printf("log %s %x\n", n, sha256.Sum256(logs[n]))
	}
	return nil
}
