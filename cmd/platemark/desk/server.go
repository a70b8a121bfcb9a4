// Package desk serves the page on which recipes are written beside their
// pictures: `platemark view`. The recipe is a sheet, the picture lies beside it
// in true pixels, computed where it is looked at.
//
// It promises: only the browser that was let in is answered, over the loopback
// address; no file is served, only the page's own and what was computed; a recipe
// that changed on the disk is never written over unasked; what was typed is kept
// until it is saved. What it shows was computed in interp, what it offers while
// one types is what editors are offered (../lsp).
package desk

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"platemark/cmd/platemark/lsp"
	"platemark/interp"
	"platemark/interp/plan"
	"platemark/interp/proof"
)

//go:embed page
var files embed.FS

// Server holds recipes open for the pages of one browser.
type Server struct {
	guard   *guard
	recipes []*recipe
	reader  *interp.Reader
	session *interp.Session
	turn    chan struct{} // held by who uses session and smalls
	smalls  []small
	busy    atomic.Bool // pages were told that it takes time

	plansMu sync.Mutex
	plans   map[string]*plan.Print // by the key of the picture that they make
	recent  []string               // their keys, the latest last
	waiting []*wanted              // tiles
	eyes    map[string]*proof.Eye  // of those that are shown as on a paper

	newsMu  sync.Mutex
	readers map[chan string]bool
	watched map[*recipe]func() bool

	finds   finds
	walksMu sync.Mutex // of the files of walks

	kept    chan struct{} // wakes who keeps what isn't saved
	Trouble func(error)   // told what can't be kept; never nil
}

// New opens recipes. What isn't saved of them is kept in folder; where a run was
// cut off, what it kept is taken up. workers is how many processors to use, 0 for
// all.
func New(paths []string, folder string, workers int) (*Server, error) {
	s := &Server{reader: interp.NewReader(), turn: make(chan struct{}, 1), plans: map[string]*plan.Print{}, eyes: map[string]*proof.Eye{},
		readers: map[chan string]bool{}, watched: map[*recipe]func() bool{}, kept: make(chan struct{}, 1), Trouble: func(error) {}}
	s.finds.reports = map[string]lookedOver{}
	for _, p := range paths {
		p, err := filepath.Abs(p)
		if err != nil {
			return nil, err
		}
		r, err := openRecipe(p, keepFile(folder, p))
		if err != nil {
			return nil, err
		}
		s.recipes = append(s.recipes, r)
	}
	last := time.Time{}
	var mu sync.Mutex
	s.session = interp.NewSession(workers, func(stage string, done, due int64) {
		mu.Lock()
		defer mu.Unlock()
		if now := time.Now(); due > 0 && now.Sub(last) > 300*time.Millisecond {
			last = now
			s.busy.Store(true)
			s.tell(fmt.Sprintf("busy %s, %d %%", stage, 100*done/due))
		}
	})
	return s, nil
}

// Close gives back what the server holds.
func (s *Server) Close() {
	s.keepAll()
	s.finds.close()
	s.session.Close()
	s.reader.Close()
}

// Folder is where what isn't saved is kept.
func Folder() (string, error) {
	dir, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("there is no folder to keep what isn't saved in: %w", err)
	}
	return filepath.Join(dir, "platemark", "unsaved"), nil
}

// Serve answers at l, an address of the loopback, until ctx ends. ready is called
// with the address that lets a browser in; renew asks for another.
func (s *Server) Serve(ctx context.Context, l net.Listener, renew <-chan struct{}, ready func(address string)) error {
	s.guard = newGuard(l.Addr().String())
	h := &http.Server{Handler: s.Handler(), ReadHeaderTimeout: 10 * time.Second, BaseContext: func(net.Listener) context.Context { return ctx }}
	ended := make(chan error, 1)
	go func() { ended <- h.Serve(l) }()
	ready(s.guard.address())
	look := time.NewTicker(time.Second)
	defer look.Stop()
	for {
		select {
		case <-ctx.Done():
			quick, stop := context.WithTimeout(context.Background(), 2*time.Second)
			defer stop()
			h.Shutdown(quick)
			return nil
		case err := <-ended:
			return err
		case <-renew:
			ready(s.guard.address())
		case <-s.kept:
			s.keepAll()
		case <-look.C:
			s.lookAround()
		}
	}
}

// keepAll brings what isn't saved to the disk.
func (s *Server) keepAll() {
	for _, r := range s.recipes {
		if err := r.store(); err != nil {
			s.Trouble(fmt.Errorf("what was typed into %s can't be kept, save it soon: %w", r.path, err))
		}
	}
}

// lookAround tells pages of recipes, and of files that these name, that became
// others.
func (s *Server) lookAround() {
	for i, r := range s.recipes {
		s.newsMu.Lock()
		changed := s.watched[r]
		s.newsMu.Unlock()
		news := r.look()
		if changed != nil && changed() {
			r.mu.Lock()
			r.reading = nil
			r.mu.Unlock()
			news = true
		}
		if news {
			s.changed(i)
		}
	}
}

func (s *Server) watch(r *recipe, changed func() bool) {
	s.newsMu.Lock()
	defer s.newsMu.Unlock()
	s.watched[r] = changed
}

// changed says that a recipe is another now.
func (s *Server) changed(file int) {
	select {
	case s.kept <- struct{}{}:
	default:
	}
	s.tell(fmt.Sprintf("recipe %d", file))
}

func (s *Server) tell(what string) {
	s.newsMu.Lock()
	defer s.newsMu.Unlock()
	for c := range s.readers {
		select {
		case c <- what:
		default: // it reads again when it has read what waits
		}
	}
}

// Handler answers requests of browsers that were let in.
func (s *Server) Handler() http.Handler {
	m := http.NewServeMux()
	page, err := fs.Sub(files, "page")
	if err != nil {
		panic(err) // it is embedded
	}
	m.Handle("GET /", http.FileServerFS(page))
	m.HandleFunc("GET /news", s.news)
	m.HandleFunc("GET /state", answer(func(r *http.Request) (any, error) {
		file, err := s.file(r.FormValue("file"))
		if err != nil {
			return nil, err
		}
		line, err := number(r, "line", 1<<20)
		beside, err2 := number(r, "beside", 1<<20)
		mark, err3 := number(r, "mark", 1<<20)
		if err = errors.Join(err, err2, err3); err != nil {
			return nil, err
		}
		st, err := s.state(r.Context(), file, r.FormValue("print"), line, beside, mark)
		if err == nil {
			err = s.compared(r.Context(), st, file, r.FormValue("with"), r.FormValue("seen"))
		}
		return st, err
	}))
	s.routeCompare(m)
	m.HandleFunc("GET /tile", s.picture)
	m.HandleFunc("GET /values", answer(func(r *http.Request) (any, error) {
		x, err := number(r, "x", 1<<30)
		y, err2 := number(r, "y", 1<<30)
		if err = errors.Join(err, err2); err != nil {
			return nil, err
		}
		return s.values(r.Context(), r.FormValue("key"), r.FormValue("mask"), image.Pt(x, y))
	}))
	m.HandleFunc("POST /offers", posted(s, func(r *recipe, q *struct {
		Version int
		At      lsp.Position
	}) (any, error) {
		r.mu.Lock()
		defer r.mu.Unlock()
		if q.Version != r.version {
			return nil, errStale
		}
		return lsp.NewText(r.path, r.text()).Offers(q.At), nil
	}))
	m.HandleFunc("POST /change", posted(s, func(r *recipe, q *struct {
		Version int
		Typed   bool
		Changes []lsp.Change
	}) (any, error) {
		return nil, r.change(q.Version, q.Typed, q.Changes...)
	}))
	m.HandleFunc("POST /draw", posted(s, func(r *recipe, q *drawing) (any, error) {
		line, err := s.draw(r, q)
		return map[string]int{"line": line}, err
	}))
	m.HandleFunc("POST /shift", posted(s, func(r *recipe, q *shift) (any, error) { return nil, s.shift(r, q) }))
	m.HandleFunc("POST /undo", posted(s, func(r *recipe, _ *struct{}) (any, error) { r.move(-1); return nil, nil }))
	m.HandleFunc("POST /redo", posted(s, func(r *recipe, _ *struct{}) (any, error) { r.move(1); return nil, nil }))
	m.HandleFunc("POST /save", posted(s, func(r *recipe, _ *struct{}) (any, error) { return nil, r.save() }))
	m.HandleFunc("POST /settle", posted(s, func(r *recipe, q *struct {
		Mine bool
		Seen string
	}) (any, error) {
		return nil, r.settle(q.Mine, q.Seen)
	}))
	s.routeFinds(m)
	s.routePages(m)
	s.routeWalk(m)
	return s.guard.wrap(m)
}

// errAsked is a request that the page never makes.
var errAsked = errors.New("this was asked in a way that the page doesn't ask")

func (s *Server) file(v string) (int, error) {
	i, err := strconv.Atoi(v)
	if err != nil || i < 0 || i >= len(s.recipes) {
		return 0, errAsked
	}
	return i, nil
}

// number is a parameter from 0 to most; 0 where it isn't there.
func number(r *http.Request, name string, most int) (int, error) {
	v := r.FormValue(name)
	if v == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(v)
	if err != nil || n < 0 || n > most {
		return 0, errAsked
	}
	return n, nil
}

// answer writes what f finds, as JSON.
func answer(f func(r *http.Request) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, err := f(r)
		if err != nil {
			refuse(w, err)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(v)
	}
}

func refuse(w http.ResponseWriter, err error) {
	code := http.StatusUnprocessableEntity
	switch {
	case errors.Is(err, errStale), errors.Is(err, errClash):
		code = http.StatusConflict
	case errors.Is(err, errUnknown):
		code = http.StatusGone
	case errors.Is(err, errAsked):
		code = http.StatusBadRequest
	}
	http.Error(w, err.Error(), code)
}

// posted is what the page asks for one recipe, with what it says as JSON. The
// answer is what do returns, or else the recipe's version.
func posted[Q any](s *Server, do func(r *recipe, q *Q) (any, error)) http.HandlerFunc {
	return answer(func(r *http.Request) (any, error) {
		i, err := s.file(r.URL.Query().Get("file"))
		if err != nil {
			return nil, err
		}
		var q Q
		if err := json.NewDecoder(http.MaxBytesReader(nil, r.Body, 16<<20)).Decode(&q); err != nil {
			return nil, errAsked
		}
		re := s.recipes[i]
		re.mu.Lock()
		was := re.version
		re.mu.Unlock()
		v, err := do(re, &q)
		if err != nil {
			return nil, err
		}
		re.mu.Lock()
		now := re.version
		re.mu.Unlock()
		if v == nil || now != was {
			s.changed(i)
		}
		if v == nil {
			v = map[string]int{"version": now}
		}
		return v, nil
	})
}

// asked is the part of a picture at a level that a request names, at most most
// pixels of the level wide and high.
func asked(r *http.Request, most int) (level, image.Rectangle, error) {
	var n [6]int
	for i, name := range []string{"x", "y", "w", "h", "by", "small"} {
		v, err := number(r, name, 1<<30)
		if err != nil {
			return level{}, image.Rectangle{}, err
		}
		n[i] = v
	}
	l := level{by: max(n[4], 1), w: n[5]}
	if n[2] < 1 || n[3] < 1 || n[2] > most || n[3] > most || l.by > 4 || l.w > 4096 {
		return l, image.Rectangle{}, errAsked
	}
	return l, image.Rect(n[0], n[1], n[0]+n[2], n[1]+n[3]), nil
}

// picture answers with a tile: of a picture, or of a mask's strength over it.
func (s *Server) picture(w http.ResponseWriter, r *http.Request) {
	l, part, err := asked(r, tileMost)
	if err != nil {
		refuse(w, err)
		return
	}
	var b []byte
	if m := r.FormValue("mask"); m == unprintable {
		b, err = s.unprintable(r.Context(), r.FormValue("key"), l, part)
	} else if m != "" {
		b, err = s.mask(r.Context(), r.FormValue("key"), m, l, part)
	} else {
		b, err = s.tile(r.Context(), r.FormValue("key"), l, part)
	}
	if err != nil {
		refuse(w, err)
		return
	}
	w.Header().Set("Content-Type", "image/png")
	w.Write(b)
}

// news is the one long connection, which serves all windows of the page.
func (s *Server) news(w http.ResponseWriter, r *http.Request) {
	c := make(chan string, 64)
	s.newsMu.Lock()
	s.readers[c] = true
	s.newsMu.Unlock()
	defer func() {
		s.newsMu.Lock()
		delete(s.readers, c)
		s.newsMu.Unlock()
	}()
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	for what := "hello"; ; {
		if _, err := fmt.Fprintf(w, "data: %s\n\n", strings.ReplaceAll(what, "\n", " ")); err != nil || out.Flush() != nil {
			return
		}
		select {
		case what = <-c:
		case <-r.Context().Done():
			return
		}
	}
}
