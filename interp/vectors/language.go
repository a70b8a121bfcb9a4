package vectors

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/lang"
	"platemark/ops/codec/tiff"
)

// prevMember is what a record's chaining looks like; its value depends on the
// draft, which depends on the vectors.
var prevMember = regexp.MustCompile(`"prev":"[0-9a-f]{64}"`)

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
	for _, p := range built {
		l, err := audit.ReadLog(p.Log)
		if err != nil {
			return nil, nil, err
		}
		fmt.Fprintf(&b, "= print %s %d %s\n= mark %s\n", p.Print, p.Size, p.Sum, p.Mark)
		var records bytes.Buffer
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
				fmt.Fprintf(&b, "= input %s %s\n", r.Path, r.Picture)
			case "step":
				fmt.Fprintf(&b, "= step %d %s %d %s\n", r.Line, r.Operation, r.Version, r.Picture)
			}
			if i > 0 {
				records.Write(prevMember.ReplaceAll(line, []byte(`"prev":"`+strings.Repeat("0", 64)+`"`)))
				records.WriteByte('\n')
			}
		}
		fmt.Fprintf(&b, "= records %s\n", sum(records.Bytes()))
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

// writeInput writes a picture as a 16-bit TIFF with its space's profile.
func writeInput(path, what string) error {
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
