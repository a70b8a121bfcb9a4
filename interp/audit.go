package interp

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"

	"platemark/interp/disk"
	"platemark/ops/raster"
	"platemark/testdata/frozen"
)

// logFormat names the audit log's form.
const logFormat = "platemark audit 1"

// The records of an audit log, in their order. The determined ones are the
// same, byte for byte, wherever the recipe is built; the run record tells of
// one run. Every line is RFC 8785 JSON and holds the SHA-256 of the line
// before (64 zeros in the first).
type (
	logRecord struct {
		Record   string `json:"record"` // "log"
		Prev     string `json:"prev"`
		Format   string `json:"format"`
		Language int    `json:"language"`
		// Draft is the digest of the frozen-vector list while the version is a
		// draft: it says which draft.
		Draft string `json:"draft,omitempty"`
	}
	recipeRecord struct {
		Record string `json:"record"` // "recipe"
		Prev   string `json:"prev"`
		Print  string `json:"print"`
		SHA256 string `json:"sha256"`
		Text   string `json:"text"`
	}
	inputRecord struct {
		Record string `json:"record"` // "input"
		Prev   string `json:"prev"`
		Role   string `json:"role"`
		Path   string `json:"path"`
		Size   int64  `json:"size"`
		SHA256 string `json:"sha256"`
		// Of pictures: as stored in the file, before any turn.
		Width    int    `json:"width,omitempty"`
		Height   int    `json:"height,omitempty"`
		Bits     int    `json:"bits,omitempty"`
		Channels int    `json:"channels,omitempty"`
		Turned   int    `json:"orientation,omitempty"`
		On       string `json:"on,omitempty"` // "white": laid on white
		Profile  string `json:"profile,omitempty"`
		Picture  string `json:"picture,omitempty"`
	}
	stepRecord struct {
		Record    string            `json:"record"` // "step"
		Prev      string            `json:"prev"`
		Line      int               `json:"line"`
		Operation string            `json:"operation"`
		Version   int               `json:"version"`
		Args      map[string]string `json:"args"`
		Inputs    []string          `json:"inputs"`
		Width     int               `json:"width"`
		Height    int               `json:"height"`
		Channels  int               `json:"channels"`
		Profile   string            `json:"profile"`
		Picture   string            `json:"picture"`
		Bands     []string          `json:"bands"`
	}
	fileRecord struct {
		Record  string            `json:"record"` // "file"
		Prev    string            `json:"prev"`
		Name    string            `json:"name"` // as the recipe writes it
		Size    int64             `json:"size"`
		SHA256  string            `json:"sha256"`
		Picture string            `json:"picture"`
		Encoder int               `json:"encoder"`
		Args    map[string]string `json:"args"`
		Mark    string            `json:"mark"`
	}
	runRecord struct {
		Record string `json:"record"` // "run"
		Prev   string `json:"prev"`
		Run
		// Self is the SHA-256 of this line with Self written as 64 zeros: no
		// line follows that could vouch for it.
		Self string `json:"self"`
	}
)

// Run tells of one run; nothing determined depends on it.
type Run struct {
	Engine    string            `json:"engine"`
	Revision  string            `json:"revision,omitempty"`
	Toolchain string            `json:"toolchain"`
	Modules   []string          `json:"modules,omitempty"`
	System    string            `json:"system"`
	Began     string            `json:"began"`
	WallMS    int64             `json:"wall-ms"`
	CPUMS     int64             `json:"cpu-ms"`
	PeakKB    int64             `json:"peak-memory-kb"`
	Workers   int               `json:"workers"`
	Recipe    string            `json:"recipe"` // relative to the log's folder
	Out       string            `json:"out"`    // the file's name beside the log
	Found     map[string]string `json:"found"`  // path as written -> relative to the log's folder
	Failure   string            `json:"failure,omitempty"`
}

const zeros = "0000000000000000000000000000000000000000000000000000000000000000"

// A chain gathers lines, each holding the digest of the one before.
type chain struct {
	lines [][]byte
}

func (c *chain) prev() string {
	if len(c.lines) == 0 {
		return zeros
	}
	return raster.Sum(sha256.Sum256(c.lines[len(c.lines)-1])).String()
}

func (c *chain) add(record any) { c.lines = append(c.lines, canonical(record)) }

// bytes is the log as a file: each line ended by one LF.
func (c *chain) bytes() []byte { return append(bytes.Join(c.lines, []byte("\n")), '\n') }

// close adds the run record.
func (c *chain) close(r Run) {
	rec := runRecord{Record: "run", Prev: c.prev(), Run: r, Self: zeros}
	rec.Self = raster.Sum(sha256.Sum256(canonical(rec))).String()
	c.add(rec)
}

// A result is what one node came to.
type result struct {
	bands []raster.Sum
	sum   raster.Sum
}

// determined writes the records that the recipe and its inputs determine.
func determined(p *Plan, version int, draft bool, source []byte, results []result, size int64, file raster.Sum) *chain {
	c := &chain{}
	head := logRecord{Record: "log", Prev: c.prev(), Format: logFormat, Language: version}
	if draft {
		head.Draft = frozen.Digest()
	}
	c.add(head)
	c.add(recipeRecord{Record: "recipe", Prev: c.prev(), Print: p.Print, SHA256: raster.Sum(sha256.Sum256(source)).String(), Text: string(source)})
	for _, in := range p.Inputs {
		r := inputRecord{Record: "input", Prev: c.prev(), Role: string(in.Role), Path: in.Path, Size: in.Size, SHA256: in.Sum.String()}
		if in.Picture != nil {
			i := in.Picture.Info()
			r.Width, r.Height, r.Bits, r.Channels, r.Turned = i.W, i.H, i.Bits, i.Channels, i.Orientation
			if in.White {
				r.On = "white"
			}
			for k, n := range p.Nodes {
				if n.Input == in {
					r.Profile, r.Picture = profileName(n), results[k].sum.String()
					break
				}
			}
		} else {
			r.Profile = in.Profile.Digest().String()
		}
		c.add(r)
	}
	for _, k := range p.Steps() {
		n := p.Nodes[k]
		r := stepRecord{Record: "step", Prev: c.prev(), Line: n.Line, Operation: n.Op, Version: n.Ver, Args: argMap(n.Args),
			Inputs: []string{}, Width: n.Pic.W, Height: n.Pic.H, Channels: n.Pic.C, Profile: profileName(n), Picture: results[k].sum.String()}
		for _, i := range n.In {
			r.Inputs = append(r.Inputs, results[i].sum.String())
		}
		for _, b := range results[k].bands {
			r.Bands = append(r.Bands, b.String())
		}
		c.add(r)
	}
	c.add(fileRecord{Record: "file", Prev: c.prev(), Name: p.File.Path, Size: size, SHA256: file.String(), Picture: results[p.Out].sum.String(),
		Encoder: encoderVersion, Args: argMap(p.File.Args()), Mark: p.Mark.String()})
	return c
}

// profileName is a picture's profile digest, zeros for a mask.
func profileName(n Node) string { return profileSum(n).String() }

func profileSum(n Node) raster.Sum {
	if n.Pic.Profile == nil {
		return raster.Sum{}
	}
	return n.Pic.Profile.Digest()
}

// A Log is an audit log as read.
type Log struct {
	Path   string
	Lines  [][]byte // without their LF
	Head   logRecord
	Recipe recipeRecord
	Inputs []inputRecord
	Steps  []stepRecord
	File   fileRecord
	Run    runRecord
	// FirstStep is the line number of the first step record.
	FirstStep int
}

// LogError says which line of a log is wrong, and how.
type LogError struct {
	Path string
	Line int // 0: the file as a whole
	What string
}

func (e *LogError) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: %s", e.Path, e.What)
	}
	return fmt.Sprintf("%s line %d: %s", e.Path, e.Line, e.What)
}

// maxLog bounds what is read as a log; a print of 65535 rows and twenty steps
// has under 1 MB.
const maxLog = 64 << 20

// ReadLog reads a log and checks its form and its whole chain.
func ReadLog(path string) (*Log, error) {
	b, err := disk.Read(path, maxLog)
	var large *disk.SizeError
	switch {
	case errors.As(err, &large):
		return nil, &LogError{path, 0, "too long for an audit log"}
	case err != nil:
		return nil, &LogError{path, 0, disk.PlainError(err).Error()}
	}
	return parseLog(path, b)
}

func parseLog(path string, b []byte) (*Log, error) {
	l := &Log{Path: path}
	fail := func(line int, what string, args ...any) (*Log, error) {
		return nil, &LogError{path, line, fmt.Sprintf(what, args...)}
	}
	if len(b) == 0 {
		return fail(0, "the file is empty")
	}
	torn := b[len(b)-1] != '\n'
	l.Lines = bytes.Split(bytes.TrimSuffix(b, []byte("\n")), []byte("\n"))
	n := len(l.Lines)
	if torn {
		return fail(n, "the last line has no line end: it was cut off or added to")
	}
	// First every link, so that the line that was changed is named and not
	// the one where it shows.
	prevs := make([]string, n)
	broken := 0
	for i, line := range l.Lines {
		var r struct {
			Record string `json:"record"`
			Prev   string `json:"prev"`
		}
		if json.Unmarshal(line, &r) != nil {
			return fail(i+1, "this isn't a record: it was changed")
		}
		prevs[i] = r.Prev
	}
	linked := func(i int) bool { // line i's prev fits line i-1
		if i == 0 {
			return prevs[0] == zeros
		}
		return i >= n || prevs[i] == raster.Sum(sha256.Sum256(l.Lines[i-1])).String()
	}
	for i := range n {
		if linked(i) {
			continue
		}
		// Line i doesn't fit the one before. If line i doesn't fit the next
		// one either, line i was changed, else the one before.
		if broken = i; i == 0 || !linked(i+1) || i == n-1 && !selfFits(l.Lines[i]) {
			broken = i + 1
		}
		return fail(broken, "this line was changed, or a line beside it was taken out: the chain of digests breaks here")
	}
	return l, l.fill(fail)
}

// selfFits checks the run record's own digest.
func selfFits(line []byte) bool {
	var r runRecord
	if strictJSON(line, &r) != nil {
		return false
	}
	said := r.Self
	r.Self = zeros
	return raster.Sum(sha256.Sum256(canonical(r))).String() == said
}

func strictJSON(line []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if d.More() {
		return errors.New("more than one value")
	}
	if !bytes.Equal(canonical(v), line) {
		return errors.New("not in canonical form")
	}
	return nil
}

// fill reads the records by kind.
func (l *Log) fill(fail func(int, string, ...any) (*Log, error)) error {
	order := []string{"log", "recipe", "input", "step", "file", "run"}
	stage := 0
	for i, line := range l.Lines {
		var k struct {
			Record string `json:"record"`
		}
		if json.Unmarshal(line, &k) != nil {
			_, err := fail(i+1, "this isn't a record")
			return err
		}
		for stage < len(order) && order[stage] != k.Record {
			stage++
		}
		if stage == len(order) {
			_, err := fail(i+1, "a record %q has no place here", k.Record)
			return err
		}
		var err error
		switch k.Record {
		case "log":
			err = strictJSON(line, &l.Head)
		case "recipe":
			err = strictJSON(line, &l.Recipe)
		case "input":
			var r inputRecord
			err = strictJSON(line, &r)
			l.Inputs = append(l.Inputs, r)
		case "step":
			var r stepRecord
			if err = strictJSON(line, &r); l.FirstStep == 0 {
				l.FirstStep = i + 1
			}
			l.Steps = append(l.Steps, r)
		case "file":
			err = strictJSON(line, &l.File)
		case "run":
			if err = strictJSON(line, &l.Run); err == nil && !selfFits(line) {
				err = errors.New("its own digest doesn't fit")
			}
		}
		if err != nil {
			_, err = fail(i+1, "this line was changed, or isn't an audit record: %v", err)
			return err
		}
	}
	switch {
	case l.Head.Format != logFormat:
		_, err := fail(1, "the log's format is %q; this engine reads %q", l.Head.Format, logFormat)
		return err
	case l.Recipe.Record == "" || len(l.Inputs) == 0 || l.File.Record == "" && l.Run.Failure == "" || l.Run.Record == "":
		_, err := fail(len(l.Lines), "records are missing after this line: the log isn't whole")
		return err
	case raster.Sum(sha256.Sum256([]byte(l.Recipe.Text))).String() != l.Recipe.SHA256:
		_, err := fail(2, "the recipe's text doesn't have the digest that the line says")
		return err
	}
	return nil
}

// LogName is the name of a print's log: the full file name, the first twelve
// characters of its mark.
func LogName(file, mark string) string {
	return file + "." + mark[:min(12, len(mark))] + ".audit.jsonl"
}

// nextLogName is LogName, numbered where earlier runs of the same print left
// their logs: an older log is never replaced.
func nextLogName(file, mark string) string {
	name := LogName(file, mark)
	for i := 2; ; i++ {
		if _, err := os.Lstat(name); err != nil {
			return name
		}
		name = strings.TrimSuffix(LogName(file, mark), ".audit.jsonl") + fmt.Sprintf("-%d.audit.jsonl", i)
	}
}
