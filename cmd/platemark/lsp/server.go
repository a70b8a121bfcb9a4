// Package lsp is the language server: an editor starts it, and it says what is
// wrong with a recipe while it is written, offers mends, completes words and
// names, explains them, finds and renames names, and formats.
//
// It promises: every answer is made from one version of the text, places are
// UTF-16 units as the protocol has them, whatever an editor sends is answered
// or ignored and never ends the server (only a stream that can't be cut into
// messages does), and no master is read beyond its head. It writes no files.
package lsp

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"sync"

	"go.lsp.dev/jsonrpc2"
)

// Codes of the protocol that the JSON-RPC library doesn't know.
const (
	codeCancelled = -32800
	codeRefused   = -32803
)

// refused is an answer in plain words instead of a result.
func refused(format string, a ...any) error {
	return jsonrpc2.NewError(codeRefused, fmt.Sprintf(format, a...))
}

// server is one connection to an editor.
type server struct {
	conn jsonrpc2.Conn

	mu    sync.Mutex
	docs  map[string]*document
	state int
	able  abilities                          // of the editor
	calls map[jsonrpc2.ID]context.CancelFunc // requests being answered
	ended chan struct{}                      // closed by exit

	checks sync.WaitGroup
	told   sync.Mutex // held while problems are told, so that none come late
}

// States of the server's life.
const (
	waiting = iota // for initialize
	running
	shut // shutdown was asked for
	gone // exit
)

// ErrUnasked is returned where an editor left without asking for a shutdown.
var ErrUnasked = errors.New("the editor left without asking for a shutdown")

// Serve speaks with an editor over in and out until it leaves. It returns nil
// after an orderly shutdown. Where ctx ends first it returns at once, and a
// read of in may be left waiting.
func Serve(ctx context.Context, in io.Reader, out io.Writer) error {
	s := &server{docs: map[string]*document{}, calls: map[jsonrpc2.ID]context.CancelFunc{}, ended: make(chan struct{})}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	pipe := &pipe{Reader: in, Writer: out, ended: s.ended}
	s.conn = jsonrpc2.NewConn(tolerant{jsonrpc2.NewHeaderStream(pipe)})
	s.conn.Go(ctx, s.handle)
	select {
	case <-s.conn.Done():
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	stop()
	s.checks.Wait()
	if err := s.conn.Err(); err != nil {
		return fmt.Errorf("the editor can't be understood: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.state != shut && s.state != gone {
		return ErrUnasked
	}
	return nil
}

// pipe is both directions as one. After exit nothing more is read.
type pipe struct {
	io.Reader
	io.Writer
	ended chan struct{}
}

func (p *pipe) Read(b []byte) (int, error) {
	select {
	case <-p.ended:
		return 0, io.EOF
	default:
		return p.Reader.Read(b)
	}
}

func (p *pipe) Close() error { return nil }

// tolerant answers what isn't a message, and goes on with the next one.
type tolerant struct{ jsonrpc2.Stream }

func (t tolerant) Read(ctx context.Context) (jsonrpc2.Message, int64, error) {
	for {
		m, n, err := t.Stream.Read(ctx)
		var bad *jsonrpc2.Error
		if err == nil || !errors.As(err, &bad) {
			return m, n, err
		}
		if _, err := t.Stream.Write(ctx, jsonrpc2.NewResponse(jsonrpc2.ID{}, nil, bad)); err != nil {
			return nil, 0, err
		}
	}
}

// request is a method that is answered from one version of a text.
type request func(ctx context.Context, s *server, params []byte, t *text) (any, error)

var requests = map[string]request{
	"textDocument/completion":        answer((*server).complete),
	"textDocument/hover":             answer((*server).hover),
	"textDocument/definition":        answer((*server).definition),
	"textDocument/references":        answer((*server).references),
	"textDocument/documentHighlight": answer((*server).highlights),
	"textDocument/prepareRename":     answer((*server).prepareRename),
	"textDocument/rename":            answer((*server).rename),
	"textDocument/formatting":        answer((*server).format),
	"textDocument/documentSymbol":    answer((*server).symbols),
	"textDocument/codeAction":        answer((*server).actions),
}

// answer reads a method's parameters.
func answer[P any](f func(s *server, ctx context.Context, t *text, p P) (any, error)) request {
	return func(ctx context.Context, s *server, params []byte, t *text) (any, error) {
		var p P
		if err := json.Unmarshal(params, &p); err != nil {
			return nil, jsonrpc2.ErrInvalidParams
		}
		return f(s, ctx, t, p)
	}
}

// handle takes one message. Notifications and the choice of a text's version
// happen in the order of the messages; the answers are worked out beside it.
func (s *server) handle(ctx context.Context, r *jsonrpc2.Request) (result any, err error) {
	defer func() {
		// A fault of ours costs one answer, not the editor's session.
		if p := recover(); p != nil {
			s.log(1, fmt.Sprintf("%s failed: %v", r.Method(), p))
			result, err = nil, nil
			if r.IsCall() {
				err = jsonrpc2.ErrInternal
			}
		}
	}()
	if !r.IsCall() {
		s.notified(r.Method(), r.Params())
		return nil, nil
	}
	method := r.Method()
	s.mu.Lock()
	state := s.state
	switch {
	case method == "initialize" && state == waiting:
		s.state = running
	case method == "shutdown" && state == running:
		s.state = shut
	}
	s.mu.Unlock()
	switch {
	case state == waiting && method != "initialize":
		return nil, jsonrpc2.NewError(jsonrpc2.ServerNotInitialized, "initialize comes first")
	case state >= shut, method == "initialize" && state != waiting:
		return nil, jsonrpc2.ErrInvalidRequest
	case method == "initialize":
		var p initializeParams
		if json.Unmarshal(r.Params(), &p) == nil {
			s.mu.Lock()
			s.able = p.Capabilities
			s.mu.Unlock()
		}
		return encode(initialized())
	case method == "shutdown":
		return jsonrpc2.RawMessage("null"), nil
	}
	f, ok := requests[method]
	if !ok {
		return jsonrpc2.MethodNotFoundHandler(ctx, r)
	}
	var p docParams
	if err := json.Unmarshal(r.Params(), &p); err != nil {
		return nil, jsonrpc2.ErrInvalidParams
	}
	t := s.text(p.Doc.URI)
	if t == nil {
		return nil, jsonrpc2.NewError(jsonrpc2.InvalidParams, "this document isn't open")
	}
	defer s.lookAgain(t)
	// The library's own context is used again for later requests as soon as
	// this one is answered, so nothing may hold it: ours is the connection's.
	mine, done := s.begin(jsonrpc2.DetachContext(ctx), r.ID())
	defer done()
	jsonrpc2.Async(ctx)
	v, err := f(mine, s, r.Params(), t)
	if mine.Err() != nil {
		return nil, jsonrpc2.NewError(codeCancelled, "cancelled")
	}
	if err != nil {
		return nil, err
	}
	return encode(v)
}

// begin makes the context of a request, which $/cancelRequest can end.
func (s *server) begin(ctx context.Context, id jsonrpc2.ID) (context.Context, func()) {
	ctx, cancel := context.WithCancel(ctx)
	s.mu.Lock()
	s.calls[id] = cancel
	s.mu.Unlock()
	return ctx, func() {
		s.mu.Lock()
		delete(s.calls, id)
		s.mu.Unlock()
		cancel()
	}
}

func (s *server) cancel(id jsonrpc2.ID) {
	s.mu.Lock()
	stop := s.calls[id]
	s.mu.Unlock()
	if stop != nil {
		stop()
	}
}

// encode writes a result as JSON; what isn't UTF-8 becomes the replacement
// character.
func encode(v any) (any, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return jsonrpc2.RawMessage(bytes.TrimSpace(b.Bytes())), nil
}

func initialized() initializeResult {
	var c capabilities
	c.Encoding = "utf-16"
	c.Sync = syncOptions{OpenClose: true, Change: 2, Save: true}
	c.Completion.Triggers = []string{" ", `"`, "/"}
	c.Hover, c.Definition, c.References, c.Highlight, c.Formatting, c.Symbols = true, true, true, true, true, true
	c.Rename.Prepare = true
	c.Actions.Kinds = []string{"quickfix"}
	return initializeResult{Capabilities: c, Server: serverInfo{"platemark"}}
}

// notified takes a notification. Whatever doesn't fit is ignored.
func (s *server) notified(method string, params []byte) {
	s.mu.Lock()
	state := s.state
	s.mu.Unlock()
	switch {
	case method == "exit":
		s.mu.Lock()
		if s.state == shut {
			s.state = gone
		}
		s.mu.Unlock()
		select {
		case <-s.ended:
		default:
			close(s.ended)
		}
		return
	case state != running:
		return
	}
	switch method {
	case "$/cancelRequest":
		var p struct {
			ID json.RawMessage `json:"id"`
		}
		if json.Unmarshal(params, &p) != nil {
			return
		}
		var n int64
		var id string
		if json.Unmarshal(p.ID, &n) == nil {
			s.cancel(jsonrpc2.NewNumberID(n))
		} else if json.Unmarshal(p.ID, &id) == nil {
			s.cancel(jsonrpc2.NewStringID(id))
		}
	case "initialized":
		s.mu.Lock()
		watch := s.able.Workspace.Watched.Dynamic
		s.mu.Unlock()
		if watch {
			go s.watch()
		}
	case "workspace/didChangeWatchedFiles":
		s.mu.Lock()
		for _, d := range s.docs {
			d.wake(false) // which looks whether it is one of its files
		}
		s.mu.Unlock()
	case "textDocument/didOpen":
		noted(params, func(p openParams) { s.open(newText(p.Doc.URI, p.Doc.Version, []byte(p.Doc.Text))) })
	case "textDocument/didChange":
		noted(params, s.change)
	case "textDocument/didSave":
		noted(params, s.saved)
	case "textDocument/didClose":
		noted(params, func(p docParams) { s.close(p.Doc.URI) })
	}
}

// noted reads a notification's parameters.
func noted[P any](params []byte, do func(p P)) {
	var p P
	if json.Unmarshal(params, &p) == nil {
		do(p)
	}
}

// watch asks the editor to say when files come, change or go.
func (s *server) watch() {
	raw, err := encode(map[string]any{"registrations": []any{map[string]any{
		"id": "files", "method": "workspace/didChangeWatchedFiles",
		"registerOptions": map[string]any{"watchers": []any{map[string]any{"globPattern": "**/*"}}},
	}}})
	if err == nil {
		_, _ = s.conn.Call(context.Background(), "client/registerCapability", raw, nil)
	}
}

// notify sends a notification; a stream that is gone is noticed elsewhere.
func (s *server) notify(method string, v any) {
	if raw, err := encode(v); err == nil {
		_ = s.conn.Notify(context.Background(), method, raw)
	}
}

func (s *server) log(kind int, what string) {
	s.notify("window/logMessage", showMessage{kind, what})
}
