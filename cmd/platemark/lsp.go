package main

import (
	"fmt"
	"os"

	"platemark/cmd/platemark/lsp"
	"platemark/interp/disk"
	"platemark/lang/editor"
)

type lspCmd struct {
	Grammar string `placeholder:"FILE" help:"Write the grammar that colours recipes (TextMate form) to a new file, and do nothing else."`
}

func (lspCmd) Help() string {
	return `An editor starts this and speaks with it over standard input and output: problems while typing with their mends, completion, explanations, finding and renaming of names, formatting. It writes no files and reads no more than the head of a master. Where a file that a recipe names comes, changes or goes, it is looked at again.

Most editors want three things: that files ending in .recipe are of a kind, platemark; that the server of that kind is the command "platemark lsp"; and, for colours, the grammar. Three of them:

Emacs 29 or later, in init.el:
  (define-derived-mode platemark-mode prog-mode "Platemark"
    (setq-local comment-start "# "))
  (add-to-list 'auto-mode-alist '("\\.recipe\\'" . platemark-mode))
  (with-eval-after-load 'eglot
    (add-to-list 'eglot-server-programs
      '(platemark-mode "platemark" "lsp")))
  (add-hook 'platemark-mode-hook 'eglot-ensure)

Helix, in languages.toml:
  [language-server.platemark]
  command = "platemark"
  args = ["lsp"]
  [[language]]
  name = "platemark"
  scope = "source.platemark"
  file-types = ["recipe"]
  comment-token = "#"
  language-servers = ["platemark"]

Neovim 0.11 or later, in init.lua:
  vim.filetype.add({ extension = { recipe = "platemark" } })
  vim.lsp.config("platemark",
    { cmd = { "platemark", "lsp" }, filetypes = { "platemark" } })
  vim.lsp.enable("platemark")

An editor that reads TextMate grammars takes its colours from:
  platemark lsp --grammar platemark.tmLanguage.json`
}

func (c *lspCmd) Run(a *app) error {
	if c.Grammar == "" {
		return lsp.Serve(a.ctx, os.Stdin, a.out)
	}
	if err := disk.Write(c.Grammar, editor.Grammar(), false); err != nil {
		return fmt.Errorf("the grammar can't be written: %w", err)
	}
	fmt.Fprintf(a.out, "%s: written\n", c.Grammar)
	return nil
}
