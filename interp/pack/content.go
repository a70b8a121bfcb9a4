package pack

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/register"
	"platemark/interp/sign"
	"platemark/lang"
	"platemark/testdata/frozen"
	"platemark/testdata/second"
)

// format names the form of a package.
const format = "platemark package 1"

// Where things lie in a package.
const (
	namesFile    = "data/names.json"
	logFile      = "data/print.audit.jsonl"
	recipeFile   = "data/print.recipe"
	registerFile = "data/register.jsonl"
	readMe       = "readme.txt"
	bagFile      = "bagit.txt"
	infoFile     = "bag-info.txt"
	fetchFile    = "fetch.txt"
	manifestFile = "manifest-sha256.txt"
	tagFile      = "tagmanifest-sha256.txt"
)

// Names is data/names.json: what the recipe and the log call the files of a
// package, whose own names are plain.
type Names struct {
	Format string `json:"format"`
	Print  string `json:"print"` // as the recipe names it
	Log    Named  `json:"log"`
	Recipe Named  `json:"recipe"`
	// Others are the further recipes of a sheet.
	Others []Named `json:"others,omitempty"`
	File   Named   `json:"file"` // the print file; Payload is "" where it was left out
	// Inputs are in the log's order; two may be one file.
	Inputs []Named `json:"inputs"`
	// Register is the edition's register as it was, Head its entries' number and the
	// digest of the last; nil where none is kept.
	Register *Registered `json:"register,omitempty"`
	// Absent says what isn't in the package, and why.
	Absent []string `json:"absent"`
}

// Named is one file: its name outside, an input's as the recipe writes it, and
// its path in the package.
type Named struct {
	Role    string `json:"role,omitempty"` // of an input
	Name    string `json:"name"`
	Payload string `json:"payload"`
}

// Registered is the register of an edition.
type Registered struct {
	Head    string `json:"head"`
	Payload string `json:"payload"`
}

// recipeName is the path in a package of the log's recipe i, from 0.
func recipeName(i int) string {
	if i == 0 {
		return recipeFile
	}
	return fmt.Sprintf("data/print-%d.recipe", i+1)
}

// content gathers what goes into a package.
type content struct {
	ctx       context.Context
	log       *audit.Log
	names     Names
	files     []file
	elsewhere []string
	recipe    string // that beside which the register lies, "" where none is kept
	source    bool   // that of the program is in it
	program   string // its path in the package, "" where it isn't
	drop      func() // takes away what was built
}

func (c *content) close() {
	if c.drop != nil {
		c.drop()
	}
}

// data adds a file of bytes.
func (c *content) data(name string, b []byte) {
	sum, size, crc, _ := digest(context.Background(), bytes.NewReader(b), nil)
	c.files = append(c.files, file{name: name, data: b, size: size, sum: sum, crc: crc})
}

// path adds a file of the disk; want is the digest that it must have, "" for any.
func (c *content) path(name, from, want string) error {
	f, _, err := disk.Open(from)
	if err != nil {
		return fmt.Errorf("%s can't be packed: %w", from, disk.PlainError(err))
	}
	defer f.Close()
	sum, size, crc, err := digest(c.ctx, f, nil)
	if err != nil {
		return err
	}
	if want != "" && sum.String() != want {
		return fmt.Errorf("%s changed while it was packed; pack again when nothing writes to it", from)
	}
	c.files = append(c.files, file{name: name, from: from, size: size, sum: sum, crc: crc})
	return nil
}

// gather adds all but the manifests and what they need.
func (c *content) gather(o Options) error {
	l := c.log
	if l.Run.Failure != "" {
		return l.Wrong(0, "this is the log of a build that failed; there is no print to pack")
	}
	where, elsewhere, err := interp.Locate(c.ctx, l, append(o.LookIn, filepath.Dir(l.Path)))
	if err != nil {
		return err
	}
	c.elsewhere = elsewhere
	if err := interp.Fits(c.ctx, l, where); err != nil {
		return fmt.Errorf("the print couldn't be made again from this package: %w", err)
	}
	c.names.Log, c.names.Recipe = Named{"", filepath.Base(l.Path), logFile}, Named{"", l.Run.Recipe, recipeFile}
	c.data(logFile, l.Bytes())
	for i, r := range l.Recipes() {
		c.data(recipeName(i), []byte(r.Text))
	}
	for i, name := range l.Run.Others {
		c.names.Others = append(c.names.Others, Named{"", name, recipeName(i + 1)})
	}
	if err := c.signature(logFile, l.Path); err != nil {
		return err
	}
	if err := c.inputs(where); err != nil {
		return err
	}
	if err := c.register(); err != nil {
		return err
	}
	if err := c.print(o); err != nil {
		return err
	}
	for name, text := range lang.Books() {
		c.data("data/books/"+name+".md", []byte(text))
	}
	c.data("data/vectors/list", frozen.List())
	if err := c.embedded("data/vectors/", frozen.Files); err != nil {
		return err
	}
	if err := c.embedded("data/reader/", second.Files); err != nil {
		return err
	}
	return c.programs(o)
}

// signature adds the signature beside a file that is in the package under a name.
func (c *content) signature(name, path string) error {
	if _, err := os.Lstat(path + sign.Suffix); err != nil {
		return nil
	}
	return c.path(name+sign.Suffix, path+sign.Suffix, "")
}

// register adds the register beside the recipe.
func (c *content) register() error {
	if c.log.Run.Recipe == "" {
		return nil
	}
	for _, recipe := range c.log.At(c.log.Run.Recipe) {
		r, err := register.Read(recipe)
		if err != nil {
			return err
		}
		if len(r.Lines) == 0 {
			continue
		}
		c.recipe, c.names.Register = recipe, &Registered{r.Head(), registerFile}
		if err := c.path(registerFile, r.Path, ""); err != nil {
			return err
		}
		return c.signature(registerFile, r.Path)
	}
	return nil
}

// inputs adds what the print is made from; what is named twice, once.
func (c *content) inputs(where map[string]string) error {
	have, count := map[string]string{}, map[string]int{}
	for _, in := range c.log.Inputs {
		name := have[in.SHA256]
		if name == "" {
			count[in.Role]++
			name = fmt.Sprintf("data/inputs/%s-%d%s", in.Role, count[in.Role], ending(in.Path))
			have[in.SHA256] = name
			if err := c.path(name, where[in.Path], in.SHA256); err != nil {
				return err
			}
		}
		c.names.Inputs = append(c.names.Inputs, Named{in.Role, in.Path, name})
	}
	return nil
}

// ending is the ending of a file's name, "" for one that isn't plain.
func ending(name string) string {
	e := filepath.Ext(filepath.Base(filepath.FromSlash(name)))
	if plain := ours(e); len(e) > 1 && len(e) <= 8 && strings.EqualFold(plain, e) {
		return plain
	}
	return ""
}

func (c *content) print(o Options) error {
	l := c.log
	c.names.File.Name = l.Run.Out
	if o.WithoutPrint {
		c.absent("the print file", "it was left out; `reprint` makes it again")
		return nil
	}
	folder := filepath.Dir(l.Path)
	s := &audit.Sought{Places: []string{filepath.Join(folder, l.Run.Out)}, Size: l.File.Size, Sum: l.File.SHA256}
	if err := audit.Find(c.ctx, []*audit.Sought{s}, append(o.LookIn, folder)); err != nil {
		return err
	}
	switch {
	case s.At == "" && s.Is != nil:
		return fmt.Errorf("%s isn't the file that the log records: make it again (platemark reprint), say where it lies (--look-in FOLDER), or leave it out (--without-print)", s.Places[0])
	case s.At == "":
		return fmt.Errorf("the print file %s isn't there: make it again (platemark reprint), say where it lies (--look-in FOLDER), or leave it out (--without-print)", s.Places[0])
	case s.At != s.Places[0]:
		c.elsewhere = append(c.elsewhere, fmt.Sprintf("the print file %s was found at %s", l.Run.Out, s.At))
	}
	c.names.File.Payload = "data/print" + ending(l.Run.Out)
	return c.path(c.names.File.Payload, s.At, l.File.SHA256)
}

// embedded adds files that this program carries; names are in small letters.
func (c *content) embedded(folder string, files fs.FS) error {
	list, err := fs.ReadDir(files, ".")
	for _, e := range list {
		var b []byte
		if b, err = fs.ReadFile(files, e.Name()); err != nil {
			break
		}
		c.data(folder+ours(e.Name()), b)
	}
	return err
}

func (c *content) absent(what, why string) {
	c.names.Absent = append(c.names.Absent, what+": "+why)
}

// whole adds what describes the package, its manifests and its signature last.
func (c *content) whole(key *sign.Key) ([]file, error) {
	names, err := json.MarshalIndent(c.names, "", "  ")
	if err != nil {
		return nil, err
	}
	c.data(namesFile, append(names, '\n'))
	payload := sorted(c.files)
	var size int64
	for _, f := range payload {
		size += f.size
	}
	c.files = nil
	c.data(manifestFile, manifest(payload))
	c.data(bagFile, []byte("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"))
	c.data(infoFile, fmt.Appendf(nil, "Bag-Software-Agent: %s\nBagging-Date: %s\nExternal-Description: all that a print was made from and with\nExternal-Identifier: %s\nPayload-Oxum: %d.%d\n",
		audit.ThisEngine(), today(), c.log.File.Mark, size, len(payload)))
	c.data(readMe, c.readMe())
	tags := sorted(c.files)
	c.files = nil
	list := manifest(tags)
	c.data(tagFile, list)
	if key != nil {
		sig, err := key.Sign(sign.Package, bytes.NewReader(list))
		if err != nil {
			return nil, err
		}
		c.data(tagFile+sign.Suffix, sig)
	}
	return append(append(c.files, tags...), payload...), nil
}

// manifest lists files and their digests, as RFC 8493 and checksum programs write
// them.
func manifest(files []file) []byte {
	var b bytes.Buffer
	for _, f := range files {
		fmt.Fprintf(&b, "%s  %s\n", f.sum, f.name)
	}
	return b.Bytes()
}
