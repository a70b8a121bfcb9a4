package lsp

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"platemark/lang"
)

// complete offers what may stand at a place: the words of its block or
// statement, units behind a number, kernels, spaces, names and files. The
// editor filters by what has been written.
func (s *server) complete(_ context.Context, t *text, p at) (any, error) {
	end := t.byteAt(p.Pos)
	n := lang.Following(t.src, end)
	list := itemList{Items: []item{}}
	add := func(label string, kind int, detail, doc string, from int) {
		it := item{Label: label, Kind: kind, Detail: detail, Sort: fmt.Sprintf("%04d", len(list.Items)), Edit: textEdit{t.span(from, end), label}}
		if doc != "" {
			it.Doc = &markup{"markdown", doc}
		}
		list.Items = append(list.Items, it)
	}
	if n.Path != "" {
		from := n.From
		if i := strings.LastIndexByte(string(t.src[from:end]), '/'); i >= 0 {
			from += i + 1
		}
		for _, f := range t.files(n) {
			kind := itemFile
			if strings.HasSuffix(f, "/") {
				kind = itemFolder
			}
			add(f, kind, "", "", from)
		}
		return list, nil
	}
	for _, u := range n.Units {
		add(u, itemUnit, "unit", entry(lang.KindUnit, "", u), n.From)
	}
	if n.Kernels {
		for _, k := range lang.Kernels {
			add(k, itemConstant, "kernel", entry(lang.KindKernel, "", k), n.From)
		}
	}
	if n.Spaces {
		for _, k := range lang.Spaces {
			add(k, itemConstant, "space", entry(lang.KindSpace, "", k), n.From)
		}
	}
	o := lang.ReadOutline(t.src)
	for _, of := range n.Names {
		for _, g := range o.Given(of, n.At) {
			if n.Block == "mask" && slices.Index(o.Top.Blocks, g.Block) == n.At {
				continue // a mask of itself
			}
			add(g.Value, itemVariable, fmt.Sprintf("%s, line %d", g.Of, g.Line), "", n.From)
		}
	}
	for _, w := range n.Words {
		add(w, itemKeyword, usage(n, w), entry(lang.KindWord, n.Word, w), n.From)
	}
	return list, nil
}

// usage shows how a statement is written, "" for a parameter.
func usage(n lang.Next, word string) string {
	if n.Word != "" {
		return ""
	}
	for _, s := range lang.Statements() {
		if s.Word == word && slices.Contains(s.Blocks, n.Block) {
			return s.Usage()
		}
	}
	return ""
}

// endings are the files that a path may name.
var endings = map[lang.PathUse][]string{
	lang.PathMaster:  {".tif", ".tiff", ".png"},
	lang.PathPicture: {".tif", ".tiff", ".png"},
	lang.PathMask:    {".tif", ".tiff", ".png"},
	lang.PathProfile: {".icc", ".icm"},
	lang.PathSave:    {".jpg", ".jpeg", ".tif", ".tiff"},
}

// mostFiles bounds how much of a folder is looked at.
const mostFiles = 4000

// files lists the folders and files that a path may go on with.
func (t *text) files(n lang.Next) []string {
	file := t.path()
	if file == "" || strings.HasPrefix(n.Text, "/") || strings.HasPrefix(n.Text, "~") || strings.ContainsAny(n.Text, "\\:\x00") {
		return nil
	}
	dir, _ := path.Split(n.Text)
	f, err := os.Open(filepath.Join(filepath.Dir(file), filepath.FromSlash(dir)))
	if err != nil {
		return nil
	}
	defer f.Close()
	list, err := f.ReadDir(mostFiles)
	if err != nil {
		return nil
	}
	slices.SortFunc(list, func(a, b fs.DirEntry) int { return strings.Compare(a.Name(), b.Name()) })
	var out []string
	for _, e := range list {
		name := e.Name()
		if strings.HasPrefix(name, ".") || strings.ContainsAny(name, "\\\":\n") {
			continue
		}
		folder := e.IsDir()
		if e.Type()&fs.ModeSymlink != 0 {
			st, err := os.Stat(filepath.Join(f.Name(), name))
			if err != nil {
				continue
			}
			folder = st.IsDir()
		}
		switch ends := endings[n.Path]; {
		case folder:
			out = append(out, name+"/")
		case ends == nil && name != filepath.Base(file), slices.Contains(ends, strings.ToLower(filepath.Ext(name))):
			out = append(out, name)
		}
	}
	return out
}
