package pack

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/sign"
	"platemark/lang"
)

// Reprint makes the print of a package again, from the package alone. The file and
// its log go into o.Out, the current folder where that is "".
func Reprint(ctx context.Context, path string, o interp.ReprintOptions) (*interp.Built, *audit.Log, error) {
	p, err := Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer p.Close()
	if len(p.Faults) > 0 {
		return nil, nil, fmt.Errorf("%s isn't whole: %s", path, strings.Join(p.Faults, "; "))
	}
	names, l, err := p.log(ctx)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", path, err)
	}
	if o.Out == "" {
		o.Out = "."
	}
	if inside := disk.Real(path) + string(filepath.Separator); strings.HasPrefix(disk.Real(o.Out)+string(filepath.Separator), inside) {
		return nil, nil, errors.New("the print would go into the package, which is to stay as it is: name another folder with --out")
	}
	at, named := path, path
	if p.path == "" {
		// The log names where the files lie once the zip file is unpacked here.
		named = filepath.Join(filepath.Dir(path), p.base)
		var drop func()
		if at, drop, err = disk.TempFolder(); err != nil {
			return nil, nil, err
		}
		defer drop()
	}
	if _, ok := p.sizes[logFile+sign.Suffix]; ok && p.path == "" {
		if err := p.unpack(logFile+sign.Suffix, disk.Join(at, logFile+sign.Suffix)); err != nil {
			return nil, nil, err
		}
	}
	l.Path = disk.Join(at, logFile)
	o.Found, o.Named = map[string]string{}, map[string]string{}
	for i := range l.Recipes() {
		o.Recipes = append(o.Recipes, disk.Join(named, recipeName(i)))
	}
	for _, in := range names.Inputs {
		o.Found[in.Name], o.Named[in.Name] = disk.Join(at, in.Payload), disk.Join(named, in.Payload)
		if what := p.wrong(ctx, in.Payload); what != "" {
			return nil, nil, errors.New(path + ": " + what)
		}
		if p.path == "" {
			if err := p.unpack(in.Payload, o.Found[in.Name]); err != nil {
				return nil, nil, err
			}
		}
	}
	built, err := interp.ReprintLog(ctx, l, o)
	return built, l, err
}

// unpack writes a file of a zip file to a path, once.
func (p *Package) unpack(name, to string) error {
	if _, err := os.Stat(to); err == nil {
		return nil
	}
	f, err := p.files.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	return disk.Make(to, false, func(w *os.File) error {
		_, err := io.Copy(w, f)
		return err
	})
}

// log reads the names and the log, and holds both against each other.
func (p *Package) log(ctx context.Context) (*Names, *audit.Log, error) {
	for _, name := range []string{namesFile, logFile} {
		if p.sums[name] == "" {
			return nil, nil, fmt.Errorf("%s isn't there", name)
		}
		if what := p.wrong(ctx, name); what != "" {
			return nil, nil, errors.New(what)
		}
	}
	b, err := p.text(namesFile)
	if err != nil {
		return nil, nil, err
	}
	var names Names
	if err := json.Unmarshal(b, &names); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", namesFile, err)
	}
	if names.Format != format {
		return nil, nil, fmt.Errorf("%s: its format is %q; this program reads %q", namesFile, names.Format, format)
	}
	if b, err = p.text(logFile); err != nil {
		return nil, nil, err
	}
	l, err := audit.ParseLog(filepath.Join(p.path, filepath.FromSlash(logFile)), b)
	if err != nil {
		return nil, nil, err
	}
	named := func(a Named, in audit.InputRecord) bool {
		return a.Role == in.Role && a.Name == in.Path && p.sums[a.Payload] == in.SHA256
	}
	if !slices.EqualFunc(names.Inputs, l.Inputs, named) {
		return nil, nil, fmt.Errorf("%s has other inputs than the log", namesFile)
	}
	return &names, l, nil
}

// signature looks for the signature of a file in a package, as of a time.
func (p *Package) signature(name, namespace string, who *sign.Whose, when time.Time) sign.Verdict {
	message, err := p.text(name)
	var s *sign.Signature
	if _, ok := p.sizes[name+sign.Suffix]; ok && err == nil {
		var b []byte
		if b, err = p.text(name + sign.Suffix); err == nil {
			s, err = sign.Parse(b)
		}
	}
	return s.Judge(err, namespace, bytes.NewReader(message), who, when)
}

// packedOn is the day that a package says it was packed on.
func (p *Package) packedOn() (day time.Time) {
	b, _ := p.text(infoFile)
	for line := range strings.Lines(string(b)) {
		if d, ok := strings.CutPrefix(line, "Bagging-Date: "); ok {
			day, _ = time.Parse(time.DateOnly, strings.TrimSpace(d)) // else before all times
		}
	}
	return day
}

// Verify checks a package: its form, every file in it, its signature, which must
// be there and count for whoever is asked for, and what its log says, but for the
// pictures.
func Verify(ctx context.Context, path string, who *sign.Whose) (*interp.Verdict, error) {
	v := &interp.Verdict{Log: path, OK: true, State: interp.Fine}
	p, err := Open(path)
	if err != nil {
		v.Say(interp.Wrong, "%v", err)
		return v, nil
	}
	defer p.Close()
	damaged, err := p.damaged(ctx)
	if err != nil {
		return nil, err
	}
	for _, what := range append(p.Faults, damaged...) {
		v.Say(interp.Wrong, "%s", what)
	}
	if v.OK {
		v.Say(interp.Fine, "%s, each the one that was packed", lang.Count(len(p.sizes), "file"))
	}
	if _, ok := p.sizes[tagFile]; ok {
		v.Signature("the package", p.signature(tagFile, sign.Package, who, p.packedOn()))
	}
	names, l, err := p.log(ctx)
	if err != nil {
		if v.OK {
			v.Say(interp.Wrong, "%v", err)
		}
		return v, nil
	}
	v.Mark = l.File.Mark
	v.Say(interp.Fine, "the chain of %s in %s holds", lang.Count(len(l.Lines), "record"), logFile)
	if _, ok := p.sizes[logFile+sign.Suffix]; ok {
		began, _ := time.Parse(time.RFC3339, l.Run.Began) // else before all times
		v.Signature("the log", p.signature(logFile, sign.Log, who, began))
	}
	for i, r := range l.Recipes() {
		if name := recipeName(i); p.sums[name] != r.SHA256 {
			v.Say(interp.Wrong, "%s isn't the recipe that the log records", name)
		}
	}
	switch file := names.File.Payload; {
	case file == "":
		v.Say(interp.Noted, "the print file %s was left out: `platemark reprint` makes it again", l.Run.Out)
	case p.sums[file] != l.File.SHA256:
		v.Say(interp.Wrong, "%s isn't the print file that the log records", file)
	default:
		v.File = file
	}
	for _, what := range names.Absent {
		v.Say(interp.Noted, "not in it: %s", what)
	}
	switch {
	case !v.OK:
		return v, nil
	case p.path == "":
		v.Say(interp.Noted, "in a zip file the recorded recipe isn't planned again: `platemark reprint` does")
	default:
		var at []*audit.Sought
		for _, in := range names.Inputs {
			at = append(at, &audit.Sought{At: disk.Join(path, in.Payload)})
		}
		if err := v.Planned(ctx, l, at); err != nil {
			return nil, err
		}
	}
	v.Say(interp.Noted, "the pictures of %s were not computed again: `platemark reprint` does", lang.Count(len(l.Steps), "step"))
	return v, nil
}
