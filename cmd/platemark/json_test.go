package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
)

// Every key that is written as JSON is in kebab-case, and a struct that has
// keys names them all: no key is a Go name. (The language server's are those of
// its protocol.)
func TestJSONKeysAreKebabCase(t *testing.T) {
	style := regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
	n := 0
	for _, folder := range []string{".", "../../interp", "../../lang"} {
		files, err := filepath.Glob(folder + "/*.go")
		if err != nil || len(files) == 0 {
			t.Fatal(folder, err)
		}
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			fset := token.NewFileSet()
			tree, err := parser.ParseFile(fset, file, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(tree, func(x ast.Node) bool {
				s, ok := x.(*ast.StructType)
				if !ok {
					return true
				}
				keys, bare := 0, token.NoPos
				for _, f := range s.Fields.List {
					key := ""
					if f.Tag != nil {
						key = reflect.StructTag(strings.Trim(f.Tag.Value, "`")).Get("json")
					}
					name, _, _ := strings.Cut(key, ",")
					switch {
					case key == "" && len(f.Names) > 0 && f.Names[0].IsExported():
						bare = f.Pos()
					case key == "" || key == "-":
					case style.MatchString(name):
						keys++
					default:
						t.Errorf("%s: the key %q", fset.Position(f.Pos()), name)
					}
				}
				if keys > 0 && bare.IsValid() {
					t.Errorf("%s: a field without a key", fset.Position(bare))
				}
				n += keys
				return true
			})
		}
	}
	if n < 100 {
		t.Errorf("only %d keys found", n)
	}
}
