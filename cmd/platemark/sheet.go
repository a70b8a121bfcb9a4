package main

import (
	"platemark/interp"
)

type sheetCmd struct {
	Recipes []string `arg:"" name:"recipe" help:"Recipe files; the first describes the sheet." type:"readablefile"`
	Print   string   `help:"The name of the sheet, where the first recipe has several." placeholder:"NAME"`
	Out     string   `help:"Folder for the file and its log, instead of where the first recipe says." placeholder:"FOLDER"`
	Force   bool     `help:"Replace files that exist. Audit logs are never replaced."`
	PDF     bool     `help:"Also write a PDF beside the file, which shows it at its true size: for printing at home."`
	JSON    bool     `help:"Say the result as JSON."`
	signFlag
	lookInFlag
	workersFlag
}

func (sheetCmd) Help() string {
	return `Several pictures of an order are proofed on one sheet of paper. Each recipe has a sheet block of the same name, size, paper and simulated paper, with pieces of its own prints: the first recipe's pieces come first, then the others' in the order in which they are typed, each with its own title and round below. The first recipe says where the file goes.

The log holds the text of every recipe. verify, reprint, diff and pack take it as any other; the mark below each piece is that of its print.

Examples:
  platemark sheet salt-road.recipe reeds.recipe
  platemark sheet salt-road.recipe reeds.recipe --print trial --pdf`
}

func (c *sheetCmd) Run(a *app) error {
	b := &buildCmd{Out: c.Out, Force: c.Force, PDF: c.PDF, JSON: c.JSON, signFlag: c.signFlag, lookInFlag: c.lookInFlag, workersFlag: c.workersFlag}
	key, err := b.key(a)
	if err != nil {
		return err
	}
	j, err := a.loaded(interp.LoadSheet(a.ctx, c.Recipes, c.Print, interp.LoadOptions{Out: c.Out, Force: c.Force, Masks: true, LookIn: c.LookIn}))
	if err != nil {
		return err
	}
	defer j.Close()
	return b.whole(a, j, key)
}
