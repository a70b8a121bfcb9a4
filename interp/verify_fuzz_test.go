package interp

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"

	"platemark/interp/audit"
)

// FuzzVerify verifies any bytes as a log, as they are and with their chain made
// whole: it ends with a verdict, and none of another mark is verified.
func FuzzVerify(f *testing.F) {
	l := forgedJob(f)
	f.Add(rechain(recordsOf(l)...))
	f.Add(rechain(l.Head, l.Recipe, l.File, l.Run))
	f.Add(rechain(append(recordsOf(l), l.Run)...))
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, text := range [][]byte{b, relinked(b)} {
			if err := os.WriteFile(l.Path, text, 0o666); err != nil {
				t.Fatal(err)
			}
			began := time.Now()
			v, err := Verify(context.Background(), l.Path, VerifyOptions{})
			if err != nil {
				t.Fatal(err)
			}
			if v.OK != (v.State == Fine) || len(v.Lines) == 0 || v.OK && v.Mark != l.File.Mark {
				t.Fatalf("%+v", v)
			}
			if took := time.Since(began); took > 10*time.Second {
				t.Fatalf("%v for %d bytes", took, len(text))
			}
		}
	})
}

// relinked makes the chain of what may be a log whole: each line that is an
// object holds the digest of the line before, and its own where it has one.
func relinked(b []byte) []byte {
	var out [][]byte
	prev := strings.Repeat("0", 64)
	for _, line := range bytes.Split(bytes.TrimSuffix(b, []byte("\n")), []byte("\n")) {
		var r map[string]any
		if json.Unmarshal(line, &r) == nil && r != nil {
			r["prev"] = prev
			if _, ok := r["self"]; ok {
				r["self"] = strings.Repeat("0", 64)
				r["self"] = audit.SumOf(anyJSON(r))
			}
			line = anyJSON(r)
		}
		out = append(out, line)
		prev = audit.SumOf(line)
	}
	return append(bytes.Join(out, []byte("\n")), '\n')
}

// anyJSON is canonical for what came from JSON, numbers of any kind among it.
func anyJSON(r map[string]any) []byte {
	b, err := json.Marshal(r)
	if c, e := jcs.Transform(b); err == nil && e == nil {
		return c
	}
	return b
}
