package lsp

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// client is an editor that frames its messages by itself, as the base protocol
// has it, so that the library isn't tested against itself.
type client struct {
	t   testing.TB
	in  io.WriteCloser
	out *bufio.Reader

	mu    sync.Mutex
	wake  chan struct{}
	seq   int
	heard []message
	done  chan error
}

type message struct {
	ID     json.RawMessage `json:"id"`
	Method string          `json:"method"`
	Params json.RawMessage `json:"params"`
	Result json.RawMessage `json:"result"`
	Error  *struct {
		Code    int    `json:"code"`
		Message string `json:"message"`
	} `json:"error"`
}

// start begins a session with a server of this process.
func start(t testing.TB) *client {
	toServer, fromClient := io.Pipe()
	toClient, fromServer := io.Pipe()
	c := newClient(t, fromClient, toClient)
	c.done = make(chan error, 1)
	go func() {
		c.done <- Serve(context.Background(), toServer, fromServer)
		fromServer.Close()
	}()
	return c
}

func newClient(t testing.TB, in io.WriteCloser, out io.Reader) *client {
	c := &client{t: t, in: in, out: bufio.NewReader(out), wake: make(chan struct{}, 1)}
	go c.listen()
	return c
}

func (c *client) listen() {
	for {
		n := -1
		for {
			l, err := c.out.ReadString('\n')
			if err != nil {
				return
			}
			if l = strings.TrimSpace(l); l == "" {
				break
			}
			if k, v, ok := strings.Cut(l, ":"); ok && strings.EqualFold(k, "Content-Length") {
				n, _ = strconv.Atoi(strings.TrimSpace(v))
			}
		}
		b := make([]byte, max(n, 0))
		if _, err := io.ReadFull(c.out, b); err != nil {
			return
		}
		var m message
		if err := json.Unmarshal(b, &m); err != nil {
			c.t.Errorf("the server wrote %q: %v", b, err)
			return
		}
		c.mu.Lock()
		c.heard = append(c.heard, m)
		c.mu.Unlock()
		select {
		case c.wake <- struct{}{}:
		default:
		}
	}
}

func (c *client) raw(body string) {
	c.t.Helper()
	if _, err := fmt.Fprintf(c.in, "Content-Length: %d\r\n\r\n%s", len(body), body); err != nil {
		c.t.Fatalf("the server doesn't listen: %v", err)
	}
}

func (c *client) tell(method string, params any) {
	c.t.Helper()
	b, err := json.Marshal(map[string]any{"jsonrpc": "2.0", "method": method, "params": params})
	if err != nil {
		c.t.Fatal(err)
	}
	c.raw(string(b))
}

func (c *client) send(method string, params any) int {
	c.t.Helper()
	c.seq++
	b, err := json.Marshal(map[string]any{"jsonrpc": "2.0", "id": c.seq, "method": method, "params": params})
	if err != nil {
		c.t.Fatal(err)
	}
	c.raw(string(b))
	return c.seq
}

// hear waits for the first message, not heard before, that fits.
func (c *client) hear(fits func(m message) bool) message {
	c.t.Helper()
	limit := time.After(20 * time.Second)
	for {
		c.mu.Lock()
		for i, m := range c.heard {
			if fits(m) {
				c.heard = append(c.heard[:i:i], c.heard[i+1:]...)
				c.mu.Unlock()
				return m
			}
		}
		c.mu.Unlock()
		select {
		case <-c.wake:
		case <-limit:
			c.t.Fatal("the server doesn't answer")
		}
	}
}

func (c *client) reply(id int) message {
	c.t.Helper()
	return c.hear(func(m message) bool { return m.Method == "" && string(m.ID) == fmt.Sprint(id) })
}

// ask sends a request and reads its result into v.
func (c *client) ask(method string, params, v any) {
	c.t.Helper()
	m := c.reply(c.send(method, params))
	if m.Error != nil {
		c.t.Fatalf("%s: error %d: %s", method, m.Error.Code, m.Error.Message)
	}
	if v == nil {
		return
	}
	if err := json.Unmarshal(m.Result, v); err != nil {
		c.t.Fatalf("%s: %v in %s", method, err, m.Result)
	}
}

// fails sends a request that is refused.
func (c *client) fails(method string, params any) (code int, what string) {
	c.t.Helper()
	m := c.reply(c.send(method, params))
	if m.Error == nil {
		c.t.Fatalf("%s isn't refused: %s", method, m.Result)
	}
	return m.Error.Code, m.Error.Message
}

// published waits for the problems of one version of a document.
func (c *client) published(uri string, version int) []diagnostic {
	c.t.Helper()
	var p publishParams
	c.hear(func(m message) bool {
		if m.Method != "textDocument/publishDiagnostics" {
			return false
		}
		p = publishParams{}
		if err := json.Unmarshal(m.Params, &p); err != nil {
			c.t.Fatal(err)
		}
		return p.URI == uri && p.Version != nil && *p.Version == version
	})
	return p.Diagnostics
}

func (c *client) initialize() {
	c.t.Helper()
	c.ask("initialize", map[string]any{"processId": nil, "rootUri": nil, "capabilities": map[string]any{}}, nil)
	c.tell("initialized", map[string]any{})
}

func (c *client) opens(uri, src string) {
	c.tell("textDocument/didOpen", map[string]any{"textDocument": map[string]any{"uri": uri, "languageId": "platemark", "version": 1, "text": src}})
}

// leaves ends the session in good order.
func (c *client) leaves() {
	c.t.Helper()
	c.ask("shutdown", nil, nil)
	c.tell("exit", nil)
	if c.done == nil {
		return
	}
	select {
	case err := <-c.done:
		if err != nil {
			c.t.Errorf("the server ended with %v", err)
		}
	case <-time.After(20 * time.Second):
		c.t.Error("the server goes on after exit")
	}
}

func inDoc(uri string) map[string]any {
	return map[string]any{"textDocument": map[string]any{"uri": uri}}
}

func where(uri string, line, character int) map[string]any {
	p := inDoc(uri)
	p["position"] = position{line, character}
	return p
}

func uriOf(path string) string {
	p := filepath.ToSlash(path)
	if !strings.HasPrefix(p, "/") {
		p = "/" + p
	}
	return (&url.URL{Scheme: "file", Path: p}).String()
}

// marked takes the marker | out of a text and returns its place, counted here
// in another way than the server does: line ends, then UTF-16 by encoding.
func marked(t testing.TB, s string) (string, position) {
	t.Helper()
	before, after, ok := strings.Cut(s, "|")
	if !ok {
		t.Fatal("no marker")
	}
	rows := strings.Split(before, "\n")
	last := rows[len(rows)-1]
	n := 0
	for _, r := range last {
		if r > 0xFFFF {
			n++
		}
		n++
	}
	return before + after, position{len(rows) - 1, n}
}
