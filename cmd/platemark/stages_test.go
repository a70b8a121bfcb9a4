package main

import (
	"os"
	"regexp"
	"testing"

	"github.com/alecthomas/kong"
)

// Help and README show the same verbs under the same stages of the job.
func TestStages(t *testing.T) {
	k, err := kong.New(&cli{}, kong.ExplicitGroups(stages), kong.Vars{"cores": "1"}, kong.NamedMapper("readablefile", readableFile), kong.NamedMapper("readableplace", readablePlace))
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	told, stage := map[string]string{}, ""
	row := regexp.MustCompile("(?m)^\\| (?:\\*\\*([^*]+)\\*\\*|`platemark (\\w+)[^|]*) \\|")
	for _, m := range row.FindAllSubmatch(readme, -1) {
		if len(m[1]) > 0 {
			stage = string(m[1])
		} else if told[string(m[2])] == "" {
			told[string(m[2])] = stage
		}
	}
	for _, verb := range k.Model.Children {
		if verb.Group == nil || told[verb.Name] != verb.Group.Title {
			t.Errorf("%s is in %+v in help, and under %q in README.md", verb.Name, verb.Group, told[verb.Name])
		}
	}
	if len(stages) != 5 || len(told) != len(k.Model.Children) {
		t.Errorf("%d stages; README.md tells of %d verbs, help of %d", len(stages), len(told), len(k.Model.Children))
	}
}
