package vectors

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/lang"
	"platemark/ops/codec/tiff"
)

// prevMember is what a record's chaining looks like; its value depends on the
// draft, which depends on the vectors.
var prevMember = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`"prev":"[0-9a-f]{64}"`) })

// Language runs a language vector: it writes the inputs that the text names and
// the recipe into the empty folder dir, builds there, and gives the text with
// its results computed again, and the whole determined part of each log.
func Language(ctx context.Context, dir string, text, recipe []byte, o interp.BuildOptions) (out []byte, logs map[string][]byte, err error) {
	var b bytes.Buffer
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "=") {
			continue
		}
		b.WriteString(line)
		if rest, ok := strings.CutPrefix(strings.TrimSpace(line), "in "); ok {
			name, what, _ := strings.Cut(rest, " ")
			if err := writeInput(filepath.Join(dir, filepath.Base(name)), what); err != nil {
				return nil, nil, err
			}
		}
	}
	file := filepath.Join(dir, "every.recipe")
	if err := os.WriteFile(file, recipe, 0o666); err != nil {
		return nil, nil, err
	}
	built, err := Build(ctx, file, o)
	if err != nil {
		return nil, nil, err
	}
	logs = map[string][]byte{}
	for k, p := range built {
		l, err := audit.ReadLog(p.Log)
		if err != nil {
			return nil, nil, err
		}
		fmt.Fprintf(&b, "= print %s %d %s\n= mark %s\n", p.Print, p.Size, p.Sum, p.Mark)
		var records bytes.Buffer
		var whole [][]byte
		lines := l.Lines[:len(l.Lines)-1]
		for i, line := range lines {
			var r struct {
				Record    string `json:"record"`
				Path      string `json:"path"`
				Line      int    `json:"line"`
				Operation string `json:"operation"`
				Version   int    `json:"version"`
				Picture   string `json:"picture"`
			}
			if err := json.Unmarshal(line, &r); err != nil {
				return nil, nil, err
			}
			switch r.Record {
			case "input":
				fmt.Fprintf(&b, "= input %s %s\n", r.Path, cmp.Or(r.Picture, "-"))
			case "step":
				fmt.Fprintf(&b, "= step %d %s %d %s\n", r.Line, r.Operation, r.Version, r.Picture)
			}
			if i > 0 {
				record := prevMember().ReplaceAll(line, []byte(`"prev":"`+strings.Repeat("0", 64)+`"`))
				records.Write(record)
				records.WriteByte('\n')
				whole = append(whole, record)
			}
		}
		fmt.Fprintf(&b, "= records %s\n", sum(records.Bytes()))
		if k == 0 { // one whole log a recipe will do
			for _, record := range whole {
				fmt.Fprintf(&b, "= log %s\n", record)
			}
		}
		logs[p.Print] = append(bytes.Join(lines, []byte("\n")), '\n')
	}
	return b.Bytes(), logs, nil
}

// Build plans and builds every print of a recipe.
func Build(ctx context.Context, file string, o interp.BuildOptions) ([]interp.Built, error) {
	j, err := interp.Load(ctx, file, interp.LoadOptions{Out: o.Out, Force: o.Force})
	if err != nil {
		return nil, err
	}
	defer j.Close()
	for _, d := range j.Diags {
		if d.Severity == lang.Error {
			return nil, fmt.Errorf("line %d: %s %s", d.Span.Line, d.Summary, d.Detail)
		}
	}
	return interp.Build(ctx, j, o)
}

// writeInput writes a profile, or a picture as a 16-bit TIFF with its space's
// profile.
func writeInput(path, what string) error {
	if name, ok := strings.CutPrefix(what, "profile "); ok && spaces()[name] != nil {
		return os.WriteFile(path, spaces()[name].Bytes(), 0o666)
	}
	p, err := input(what)
	if err != nil {
		return err
	}
	o := tiff.Options{Bits: 16, PPI: big.NewRat(300, 1)}
	if q := p.profile(); q != nil {
		o.ICC = q.Bytes()
	}
	b, err := p.tiff(o)
	if err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o666)
}
