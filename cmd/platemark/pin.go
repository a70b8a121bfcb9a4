package main

import (
	"fmt"

	"platemark/interp"
	"platemark/lang"
)

type pinCmd struct {
	Recipes []string `arg:"" name:"recipe" help:"Recipe files." type:"readablefile"`
	lookInFlag
	Renew []string `help:"Take the file as it is now, by the path that the recipe writes (may be repeated)." placeholder:"FILE"`
}

func (pinCmd) Help() string {
	return `A pinned recipe builds only from the very files it was made with. A file that changed since is refused until --renew names it; one that was moved or renamed is found below --look-in by its digest. Only the inputs block of the recipe is touched.

Examples:
  platemark pin salt-road.recipe
  platemark pin --renew salt-road.tif salt-road.recipe`
}

func (c *pinCmd) Run(a *app) error {
	if len(c.Renew) > 0 && len(c.Recipes) != 1 {
		return usageError{"--renew works on one recipe"}
	}
	if len(c.Renew) > 0 && len(c.LookIn) > 0 {
		return usageError{"--renew takes a file as it stands in its place, --look-in finds the one that was pinned: use them one after the other"}
	}
	for _, file := range c.Recipes {
		pins, elsewhere, err := interp.Pin(a.ctx, file, c.Renew, c.LookIn)
		if err != nil {
			return err
		}
		a.tellElsewhere(elsewhere)
		for _, p := range pins {
			fmt.Fprintf(a.out, "%s  %s\n", p.SHA256[:16], p.Path)
		}
		fmt.Fprintf(a.out, "%s: %s pinned\n", file, lang.Count(len(pins), "file"))
	}
	return nil
}
