package lsp

// The part of the Language Server Protocol 3.17 that this server speaks, in
// the protocol's own names. The types are ours: the published ones
// (go.lsp.dev/protocol 0.12.0, of 2022) are of 3.16 and don't build with the
// maintained go.lsp.dev/jsonrpc2 1.0, which carries the messages.

type position struct {
	Line      int `json:"line"`      // from 0
	Character int `json:"character"` // UTF-16 units from the line's start
}

type span struct {
	Start position `json:"start"`
	End   position `json:"end"`
}

type location struct {
	URI   string `json:"uri"`
	Range span   `json:"range"`
}

type docID struct {
	URI string `json:"uri"`
}

// at is the parameters of a request about a place.
type at struct {
	Doc docID    `json:"textDocument"`
	Pos position `json:"position"`
}

type openParams struct {
	Doc struct {
		URI     string `json:"uri"`
		Version int    `json:"version"`
		Text    string `json:"text"`
	} `json:"textDocument"`
}

type versionID struct {
	URI     string `json:"uri"`
	Version int    `json:"version"`
}

type changeParams struct {
	Doc     versionID `json:"textDocument"`
	Changes []change  `json:"contentChanges"`
}

// change replaces a range, or the whole text where there is none.
type change struct {
	Range *span  `json:"range"`
	Text  string `json:"text"`
}

type saveParams struct {
	Doc  docID   `json:"textDocument"`
	Text *string `json:"text"`
}

type docParams struct {
	Doc docID `json:"textDocument"`
}

type referenceParams struct {
	at
	Context struct {
		Declaration bool `json:"includeDeclaration"`
	} `json:"context"`
}

type renameParams struct {
	at
	Name string `json:"newName"`
}

type actionParams struct {
	Doc   docID `json:"textDocument"`
	Range span  `json:"range"`
}

type action struct {
	Title     string        `json:"title"`
	Kind      string        `json:"kind"` // quickfix
	Preferred bool          `json:"isPreferred,omitempty"`
	Problems  []diagnostic  `json:"diagnostics"`
	Edit      workspaceEdit `json:"edit"`
}

type initializeParams struct {
	Capabilities abilities `json:"capabilities"`
}

// abilities are what this server asks of an editor's capabilities.
type abilities struct {
	Workspace struct {
		Edit struct {
			Versioned bool `json:"documentChanges"`
		} `json:"workspaceEdit"`
		Watched struct {
			Dynamic bool `json:"dynamicRegistration"`
		} `json:"didChangeWatchedFiles"`
	} `json:"workspace"`
}

type initializeResult struct {
	Capabilities capabilities `json:"capabilities"`
	Server       serverInfo   `json:"serverInfo"`
}

type serverInfo struct {
	Name string `json:"name"`
}

type capabilities struct {
	Encoding   string      `json:"positionEncoding"`
	Sync       syncOptions `json:"textDocumentSync"`
	Completion struct {
		Triggers []string `json:"triggerCharacters"`
	} `json:"completionProvider"`
	Hover      bool `json:"hoverProvider"`
	Definition bool `json:"definitionProvider"`
	References bool `json:"referencesProvider"`
	Highlight  bool `json:"documentHighlightProvider"`
	Rename     struct {
		Prepare bool `json:"prepareProvider"`
	} `json:"renameProvider"`
	Formatting bool `json:"documentFormattingProvider"`
	Symbols    bool `json:"documentSymbolProvider"`
	Actions    struct {
		Kinds []string `json:"codeActionKinds"`
	} `json:"codeActionProvider"`
}

type syncOptions struct {
	OpenClose bool `json:"openClose"`
	Change    int  `json:"change"` // 2: ranges
	Save      bool `json:"save"`
}

type diagnostic struct {
	Range    span   `json:"range"`
	Severity int    `json:"severity"` // 1 error, 2 warning, 3 information
	Code     string `json:"code"`
	Source   string `json:"source"`
	Message  string `json:"message"`
}

type publishParams struct {
	URI         string       `json:"uri"`
	Version     *int         `json:"version,omitempty"`
	Diagnostics []diagnostic `json:"diagnostics"`
}

type textEdit struct {
	Range span   `json:"range"`
	Text  string `json:"newText"`
}

type markup struct {
	Kind  string `json:"kind"` // markdown
	Value string `json:"value"`
}

type hover struct {
	Contents markup `json:"contents"`
	Range    span   `json:"range"`
}

// Kinds of completion items and symbols, as the protocol numbers them.
const (
	itemVariable = 6
	itemUnit     = 11
	itemKeyword  = 14
	itemFile     = 17
	itemFolder   = 19
	itemConstant = 21

	symbolFunction = 12
	symbolVariable = 13
	symbolFile     = 1
	symbolArray    = 18
	symbolObject   = 19
	symbolEvent    = 24
)

type item struct {
	Label  string   `json:"label"`
	Kind   int      `json:"kind"`
	Detail string   `json:"detail,omitempty"`
	Doc    *markup  `json:"documentation,omitempty"`
	Sort   string   `json:"sortText,omitempty"`
	Edit   textEdit `json:"textEdit"`
}

type itemList struct {
	Incomplete bool   `json:"isIncomplete"`
	Items      []item `json:"items"`
}

type symbol struct {
	Name      string   `json:"name"`
	Detail    string   `json:"detail,omitempty"`
	Kind      int      `json:"kind"`
	Range     span     `json:"range"`
	Selection span     `json:"selectionRange"`
	Children  []symbol `json:"children,omitempty"`
}

type highlight struct {
	Range span `json:"range"`
	Kind  int  `json:"kind"` // 2 read, 3 written
}

// workspaceEdit has one of the two: edits of a version, where the editor knows
// them.
type workspaceEdit struct {
	Changes   map[string][]textEdit `json:"changes,omitempty"`
	Versioned []documentEdit        `json:"documentChanges,omitempty"`
}

type documentEdit struct {
	Doc   versionID  `json:"textDocument"`
	Edits []textEdit `json:"edits"`
}

type prepared struct {
	Range       span   `json:"range"`
	Placeholder string `json:"placeholder"`
}

type showMessage struct {
	Type    int    `json:"type"` // 1 error, 2 warning, 3 information
	Message string `json:"message"`
}
