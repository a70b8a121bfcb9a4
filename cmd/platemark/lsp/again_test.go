package lsp

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A document that is closed and opened again at once keeps its problems: what
// is told last is of the new one.
func TestReopenedDocumentKeepsItsProblems(t *testing.T) {
	c, dir, _ := folder(t)
	wrong := strings.Replace(saltRoad, "mitchell", "mitchel", 1)
	open := func(uri string, version int) {
		c.tell("textDocument/didOpen", map[string]any{"textDocument": map[string]any{"uri": uri, "languageId": "platemark", "version": version, "text": wrong}})
	}
	// last is what was told last of a document.
	last := func(uri string) (p publishParams) {
		c.mu.Lock()
		defer c.mu.Unlock()
		for _, m := range c.heard {
			q := publishParams{}
			if m.Method == "textDocument/publishDiagnostics" && json.Unmarshal(m.Params, &q) == nil && q.URI == uri {
				p = q
			}
		}
		return p
	}
	for i := range 60 {
		uri := uriOf(filepath.Join(dir, fmt.Sprintf("a-%d.recipe", i)))
		open(uri, 1)
		c.tell("textDocument/didClose", inDoc(uri))
		open(uri, 2)
		for n := 0; last(uri).Version == nil || *last(uri).Version != 2; n++ {
			if n == 2000 {
				t.Fatalf("round %d: nothing was told of the new document", i)
			}
			time.Sleep(5 * time.Millisecond)
		}
		time.Sleep(5 * time.Millisecond) // room for a word too late
		if p := last(uri); len(p.Diagnostics) == 0 {
			t.Fatalf("round %d: the problems were taken back: %+v", i, p)
		}
	}
	c.leaves()
}

// A master that appears is looked at with the next request, change or word of
// the editor that files changed.
func TestMasterThatAppearsIsLookedAt(t *testing.T) {
	for name, next := range map[string]func(c *client, uri string){
		"request": func(c *client, uri string) { c.ask("textDocument/documentSymbol", inDoc(uri), nil) },
		"watched": func(c *client, uri string) {
			c.tell("workspace/didChangeWatchedFiles", map[string]any{"changes": []any{}})
		},
	} {
		t.Run(name, func(t *testing.T) {
			c, dir, uri := folder(t)
			master := filepath.Join(dir, "salt-road.tif")
			if err := os.Rename(master, master+".away"); err != nil {
				t.Fatal(err)
			}
			c.opens(uri, saltRoad)
			if ds := c.published(uri, 1); len(ds) == 0 || ds[0].Code != "PM510" {
				t.Fatalf("%v", ds)
			}
			if err := os.Rename(master+".away", master); err != nil {
				t.Fatal(err)
			}
			next(c, uri)
			if ds := c.published(uri, 1); len(ds) > 0 && ds[0].Code == "PM510" {
				t.Fatalf("%v", ds)
			}
			c.leaves()
		})
	}
}
