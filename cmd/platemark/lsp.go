package main

import (
	"os"

	"platemark/cmd/platemark/lsp"
)

type lspCmd struct{}

func (lspCmd) Help() string {
	return `An editor starts this and speaks with it over standard input and output: problems while typing, completion, explanations, finding and renaming of names, formatting. It writes no files and reads no more than the head of a master.

A grammar that colours recipes lies in the sources, under lang/editor.`
}

func (c *lspCmd) Run(a *app) error {
	return lsp.Serve(a.ctx, os.Stdin, a.out)
}
