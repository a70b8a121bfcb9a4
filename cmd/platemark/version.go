package main

import (
	"fmt"

	"platemark/interp/audit"
	"platemark/testdata/frozen"
)

type versionCmd struct {
	Long bool `help:"Also the sums of every module in this program."`
	JSON bool `help:"Say it as JSON."`
}

func (versionCmd) Help() string {
	return `Example:
  platemark version --long`
}

func (c *versionCmd) Run(a *app) error {
	version, revision, toolchain, modules := audit.Engine()
	if c.JSON {
		v := map[string]any{"engine": version, "revision": revision, "toolchain": toolchain, "language": "1 draft", "vectors": frozen.Digest()}
		if c.Long {
			v["modules"] = modules
		}
		return a.json(v)
	}
	fmt.Fprintf(a.out, "platemark %s\n", version)
	if revision != "" {
		fmt.Fprintf(a.out, "revision   %s\n", revision)
	}
	fmt.Fprintf(a.out, "toolchain  %s\nlanguage   recipe 1 draft, vector list %s\n", toolchain, frozen.Digest()[:16])
	if c.Long {
		for _, m := range modules {
			fmt.Fprintln(a.out, "module     "+m)
		}
	}
	return nil
}
