package audit

// LogFormat names the audit log's form.
const LogFormat = "platemark audit 1"

// The records of an audit log, in their order. The determined ones are the
// same, byte for byte, wherever the recipe is built; the run record tells of
// one run. Every line is RFC 8785 JSON and holds the SHA-256 of the line
// before (64 zeros in the first).
type (
	// LogRecord says what the log is and which language it speaks.
	LogRecord struct {
		Record   string `json:"record"` // "log"
		Prev     string `json:"prev"`
		Format   string `json:"format"`
		Language int    `json:"language"`
		// Draft is the digest of the frozen-vector list while the version is a
		// draft: it says which draft.
		Draft string `json:"draft,omitempty"`
	}
	// RecipeRecord holds a recipe: the print's, and behind it those of a sheet of
	// several recipes, in their order.
	RecipeRecord struct {
		Record string `json:"record"` // "recipe"
		Prev   string `json:"prev"`
		Print  string `json:"print"`
		SHA256 string `json:"sha256"`
		Text   string `json:"text"`
	}
	// InputRecord is one file that the print is made from.
	InputRecord struct {
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
	// StepRecord is one operation and the picture that it made.
	StepRecord struct {
		Record    string            `json:"record"` // "step"
		Prev      string            `json:"prev"`
		Line      int               `json:"line"`
		Recipe    int               `json:"recipe,omitempty"` // whose line it is, from 2; 0 is the first
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
	// FileRecord is the print file.
	FileRecord struct {
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
	// RunRecord ends a log.
	RunRecord struct {
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
	Recipe    string            `json:"recipe"`           // relative to the log's folder
	Others    []string          `json:"others,omitempty"` // the further recipes of a sheet, likewise
	Out       string            `json:"out"`              // the file's name beside the log
	Found     map[string]string `json:"found"`            // path as written -> relative to the log's folder
	// Taken are the pictures, by their digests, that an earlier run of the same
	// program had kept: the digests of these and of all above are that run's.
	Taken   []string `json:"taken,omitempty"`
	Failure string   `json:"failure,omitempty"`
}

// Close adds the run record, the last of a log.
func (c *Chain) Close(r Run) {
	rec := RunRecord{Record: "run", Prev: c.Prev(), Run: r}
	c.Seal(&rec, &rec.Self)
}
