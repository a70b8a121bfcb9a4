package interp

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"os"
	"regexp"
	"slices"
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
				if n.Input != nil && fileOf(n.Input) == fileOf(in) {
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

// logsOf lists the logs beside a print file: of a mark, or of any mark where it
// is "", by name.
func logsOf(out, mark string) []string {
	begin := out + "." + mark[:min(12, len(mark))]
	return slices.DeleteFunc(disk.Beside(begin, ".audit.jsonl"), func(log string) bool {
		return !logTail.MatchString(strings.TrimPrefix(log, out+"."))
	})
}

// logTail is what a log's name has behind its print file's: the mark's first
// characters, and a number where the print was built again.
var logTail = regexp.MustCompile(`^([0-9a-f]{12})(-[0-9]+)?\.audit\.jsonl$`)
