package interp

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/plan"
	"platemark/lang"
)

// seekInputs looks below folders for the files that a recipe names and that
// aren't in their places, or are others there than it pins, by the digests that
// its inputs block or the logs beside its prints hold. where says by the path as
// written where each lies, elsewhere the same in words; the error names all that
// weren't found.
func seekInputs(ctx context.Context, folder, out string, rec *lang.Recipe, set *plan.Inputs, folders []string) (where map[string]string, elsewhere []string, err error) {
	logged := loggedInputs(folder, out, rec)
	var list []*audit.Sought
	var names, gone []string
	where = map[string]string{}
	for _, n := range set.Named() {
		path := n.Text.Value
		if _, ok := where[path]; ok {
			continue
		}
		place := disk.Join(folder, path)
		where[path] = place
		in, known := logged[path]
		pin, pinned := set.Pins[path]
		switch _, err := os.Stat(place); {
		case err == nil && !pinned:
			continue // taken as it is
		case pinned && in.SHA256 != pin:
			in = audit.InputRecord{SHA256: pin, Size: -1}
		case !pinned && !known:
			gone = append(gone, fmt.Sprintf("the %s %s isn't there, and neither an inputs block nor a log beside its prints says its digest", n.Role, path))
			continue
		}
		list = append(list, &audit.Sought{Places: []string{place}, Size: in.Size, Sum: in.SHA256})
		names = append(names, path)
	}
	if err := audit.Find(ctx, list, folders); err != nil {
		return nil, nil, err
	}
	for i, s := range list {
		switch {
		case s.At == "":
			gone = append(gone, fmt.Sprintf("%s (sha256 %s…) was found neither in its place nor by its digest", names[i], audit.BriefSum(s.Sum)))
		case !slices.Contains(s.Places, s.At):
			where[names[i]] = s.At
			elsewhere = append(elsewhere, fmt.Sprintf("%s was found at %s", names[i], s.At))
		}
	}
	if gone != nil {
		return nil, nil, errors.New(strings.Join(append(gone, elsewhere...), ";\n  ") + "\n--look-in FOLDER names more places")
	}
	return where, elsewhere, nil
}

// loggedInputs are the records of a recipe's inputs in the logs beside its
// prints, by the path as written; a path of which logs tell different digests
// has none.
func loggedInputs(folder, out string, rec *lang.Recipe) map[string]audit.InputRecord {
	known, torn := map[string]audit.InputRecord{}, map[string]bool{}
	for _, p := range rec.Prints {
		for _, l := range audit.Beside(outPath(folder, p.Save.Path.Value, out), "") {
			for _, in := range l.Inputs {
				if was, ok := known[in.Path]; ok && was.SHA256 != in.SHA256 {
					torn[in.Path] = true
				}
				known[in.Path] = in
			}
		}
	}
	for path := range torn {
		delete(known, path)
	}
	return known
}
