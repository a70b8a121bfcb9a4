package interp

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
)

// LoadSheet plans the sheet of a name of the first of some recipes, on which lie the
// pieces of the others' sheets of that name, in their order, too. With name "" it is
// the only sheet of the first. See Load.
func LoadSheet(ctx context.Context, files []string, name string, o LoadOptions) (*Job, error) {
	if len(files) > audit.MaxRecipes {
		return nil, fmt.Errorf("a sheet shows prints of at most %d recipes", audit.MaxRecipes)
	}
	var list []recipeText
	for i, f := range files {
		b, err := ReadRecipe(f)
		if err != nil {
			return nil, err
		}
		list = append(list, recipeText{f, filepath.Dir(disk.Target(f)), b})
		rec, ds := lang.Parse(filepath.Base(f), b)
		switch {
		case lang.HasErrors(ds) && i == 0:
			return loadTexts(ctx, list, o) // which says them
		case lang.HasErrors(ds):
		case i == 0:
			var have []string
			for _, p := range rec.Prints {
				if p.Sheet != nil {
					have = append(have, p.Name.Value)
				}
			}
			if name == "" && len(have) == 1 {
				name = have[0]
			}
			if !slices.Contains(have, name) {
				return nil, fmt.Errorf("--print is to name a sheet of %s; there is: %s", f, cmp.Or(strings.Join(have, ", "), "none"))
			}
		case rec.Print(name) == nil:
			return nil, fmt.Errorf("%s has no sheet %s: write one into it, with the paper and size of that in %s, and pieces of its own prints", f, name, files[0])
		}
	}
	o.Prints = []string{name}
	return loadTexts(ctx, list, o)
}

// recipeText is a recipe's text that stands at file, "" for none, with its paths
// relative to folder.
type recipeText struct {
	file, folder string
	source       []byte
}

// loadTexts plans what the first of some recipes says, with the others' pieces on
// its sheet. o.Found is asked for the names that logs have.
func loadTexts(ctx context.Context, list []recipeText, o LoadOptions) (j *Job, err error) {
	var others []*Job
	for i, t := range list[1:] {
		q, found := o, o.Found
		q.NoOutputs, q.number = true, i+2
		if found != nil {
			q.Found = func(role master.Role, p string) string { return found(role, plan.NameOf(i+2, p)) }
		}
		var k *Job
		if k, err = LoadText(ctx, t.file, t.folder, t.source, q); err != nil {
			break
		}
		others = append(others, k)
	}
	if err == nil {
		o.others = others
		j, err = LoadText(ctx, list[0].file, list[0].folder, list[0].source, o)
	}
	if err != nil {
		for _, k := range others {
			k.Close()
		}
	}
	return j, err
}

// Recorded plans the recorded recipe of a log again, with inputs found at where by
// their names in the log. It differs from the log where that was changed, see
// misfitOf.
func Recorded(ctx context.Context, l *audit.Log, where map[string]string) (*Job, error) {
	return recorded(ctx, l, where, LoadOptions{})
}

func recorded(ctx context.Context, l *audit.Log, where map[string]string, o LoadOptions) (*Job, error) {
	var list []recipeText
	for _, r := range l.Recipes() {
		list = append(list, recipeText{folder: filepath.Dir(l.Path), source: []byte(r.Text)})
	}
	o.Prints, o.NoOutputs, o.NoPins = []string{l.Recipe.Print}, true, true
	o.Found = func(_ master.Role, p string) string { return where[p] }
	return loadTexts(ctx, list, o)
}

// Errors lists what is wrong with the job's recipes: line and summary.
func (j *Job) Errors() []string {
	list := Errors(j.Diags)
	for i, o := range j.Others {
		for _, e := range o.Errors() {
			list = append(list, fmt.Sprintf("recipe %d, %s", i+2, e))
		}
	}
	return list
}

// Failed says whether an error stands in the way.
func (j *Job) Failed() bool {
	return lang.HasErrors(j.Diags) || slices.ContainsFunc(j.Others, (*Job).Failed)
}
