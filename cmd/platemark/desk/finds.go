package desk

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"platemark/interp"
	"platemark/interp/inspect"
	"platemark/interp/plan"
	"platemark/interp/retouch"
)

// finds keeps what was found in masters and prints, by the key of the picture that
// was looked over, of a print by that without its spots, so that none is looked over
// twice. One is looked over at a time.
type finds struct {
	mu      sync.Mutex
	reports map[string]lookedOver
	running string  // the key of what is looked over now
	of      *recipe // whose picture that is
	says    string  // how far that is
	failed  error   // what came of it in place of a report; told once
	stop    context.CancelFunc
	ended   chan struct{} // nil where nothing was ever looked over
}

// lookedOver is what was found in a picture, and the spots of the recipe then: while
// all of them stand, what others change is what they mend.
type lookedOver struct {
	*inspect.Report
	spots []disc
}

// mostReports bounds what is kept; a report has at most a few megabytes.
const mostReports = 8

// found is what is seen of the master on a print, or in its finished pixels, and
// neither mended nor dismissed.
type found struct {
	Says  string   `json:"says,omitempty"` // how far looking is; "" once it has ended
	On    string   `json:"on,omitempty"`   // the print, and from where it is seen
	Open  int      `json:"open"`
	Finds []find   `json:"finds"` // the most visible first
	Words []string `json:"words,omitempty"`
}

// find is a place, in shares of the frame, and the lines that mend it.
type find struct {
	Number int        `json:"number"`
	Words  string     `json:"words"`
	At     [2]float64 `json:"at"`
	Size   [2]float64 `json:"size"`
	Lines  []string   `json:"lines"`
}

// mostFinds is how many are told of at a time.
const mostFinds = 500

// chosen is what the page says of one find.
type chosen struct {
	Version  int // the text's, 0 for the present one
	Print    string
	Finished bool // of the print's finished pixels, else of the master
	Number   int
}

// finished says which finds a page is asked for.
func finished(q *http.Request) chosen {
	return chosen{Print: q.FormValue("print"), Finished: q.FormValue("finished") == "true"}
}

func (s *Server) routeFinds(m *http.ServeMux) {
	m.HandleFunc("GET /finds", answer(func(q *http.Request) (any, error) {
		file, err := s.file(q.FormValue("file"))
		if err != nil {
			return nil, err
		}
		return s.found(q.Context(), s.recipes[file], finished(q))
	}))
	m.HandleFunc("POST /mended", posted(s, func(r *recipe, q *chosen) (any, error) { return s.mended(r, q) }))
	m.HandleFunc("POST /take", posted(s, func(r *recipe, q *chosen) (any, error) {
		line, err := s.take(r, q)
		return map[string]int{"line": line}, err
	}))
	m.HandleFunc("POST /dismiss", posted(s, func(r *recipe, q *chosen) (any, error) {
		_, err := s.looking(context.Background(), r, *q, func(_ *reading, l *retouch.Look) error {
			_, err := l.Dismiss(context.Background(), []int{q.Number})
			return err
		})
		return nil, err
	}))
}

// looking calls do with what was found in the master as a print of the recipe
// shows it, or in that print's finished pixels, while it has the session. Where that
// is still being looked over it says how far it is.
func (s *Server) looking(ctx context.Context, r *recipe, q chosen, do func(rd *reading, l *retouch.Look) error) (says string, err error) {
	rd, err := s.read(ctx, r)
	if err != nil {
		return "", err
	}
	if q.Version != 0 && rd.version != q.Version {
		return "", errStale
	}
	if !slices.ContainsFunc(rd.plans, func(p *plan.Print) bool { return p.Name == q.Print }) {
		return "", errors.New("the picture can't be looked over until the recipe's errors are mended")
	}
	j, err := s.reader.Read(ctx, r.path, rd.source, interp.LoadOptions{Prints: []string{q.Print}, NoOutputs: true})
	if err != nil {
		return "", err
	}
	var o retouch.Options
	if q.Finished {
		o.Print = q.Print
	}
	l, err := retouch.Begin(s.session, j, o)
	if err != nil {
		return "", err
	}
	key, spots := l.Key().String(), []disc(nil)
	if q.Finished {
		if key, spots, err = s.withoutSpots(r, rd, frameOf(j.Plans[0]), q.Print); err != nil {
			return "", err
		}
	}
	report, says, err := s.report(r, j, o, key, spots)
	if report == nil {
		return says, err
	}
	return "", s.useWhole(ctx, j.Plans[0], func() error {
		if err := l.Fill(ctx, report); err != nil {
			return err
		}
		return do(rd, l)
	})
}

// report is what was found in the picture of that key, which o says of a recipe's
// job. Where nobody has looked yet, or spots that stood then are gone, it begins to,
// beside all else: says tells how far it is.
func (s *Server) report(of *recipe, j *interp.Job, o retouch.Options, key string, spots []disc) (r *inspect.Report, says string, err error) {
	f := &s.finds
	f.mu.Lock()
	defer f.mu.Unlock()
	r = f.reports[key].Report
	if r != nil && !slices.ContainsFunc(f.reports[key].spots, func(d disc) bool { return !slices.Contains(spots, d) }) {
		return r, "", nil
	}
	what := "the master"
	if o.Print != "" {
		what = "print " + o.Print
	}
	if f.running == key {
		if err, f.failed = f.failed, nil; err != nil {
			f.running = ""
		}
		return nil, f.says, err
	}
	if f.running != "" && f.of != of && f.failed == nil {
		return nil, "waits until " + filepath.Base(f.of.path) + " has been looked over", nil
	}
	before := f.ended
	if before != nil {
		f.stop()
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	f.running, f.of, f.says, f.failed, f.stop, f.ended = key, of, "looking over "+what, nil, stop, ended
	go func() {
		defer close(ended)
		if before != nil {
			<-before // so that two masters are never held
		}
		r, err := s.lookOver(ctx, j, o, what)
		f.mu.Lock()
		defer f.mu.Unlock()
		if f.running != key || ctx.Err() != nil {
			return
		}
		if f.failed = err; err == nil {
			f.running = ""
			for k := range maps.Keys(f.reports) {
				if len(f.reports) < mostReports {
					break
				}
				delete(f.reports, k)
			}
			f.reports[key] = lookedOver{r, spots}
		}
		s.tell("finds")
	}()
	return nil, f.says, nil
}

// lookOver looks over what o says of a job, with a session of its own so that what
// is looked at meanwhile doesn't wait, and half of the processors.
func (s *Server) lookOver(ctx context.Context, j *interp.Job, o retouch.Options, what string) (*inspect.Report, error) {
	var last time.Time
	session := interp.NewSession(max(1, s.session.Workers/2), func(stage string, done, due int64) {
		if stage == "looking over "+j.Plans[0].Name {
			stage = "looking over " + what
		}
		s.finds.mu.Lock()
		defer s.finds.mu.Unlock()
		if now := time.Now(); due > 0 && now.Sub(last) > 500*time.Millisecond && ctx.Err() == nil {
			last, s.finds.says = now, fmt.Sprintf("%s, %d %%", stage, 100*done/due)
			s.tell("finds")
		}
	})
	defer session.Close()
	l, err := retouch.Begin(session, j, o)
	if err != nil {
		return nil, err
	}
	return l.Find(ctx)
}

// close ends what is being looked over.
func (f *finds) close() {
	f.mu.Lock()
	stop, ended := f.stop, f.ended
	f.mu.Unlock()
	if ended != nil {
		stop()
		<-ended
	}
}

func (s *Server) found(ctx context.Context, r *recipe, q chosen) (*found, error) {
	out := &found{Finds: []find{}}
	says, err := s.looking(ctx, r, q, func(_ *reading, l *retouch.Look) error {
		open := l.Visible()
		out.On, out.Open, out.Words = l.SeenOn(), len(open), append(l.MoreWords(), l.Words()...)
		for _, f := range open[:min(len(open), mostFinds)] {
			out.Finds = append(out.Finds, find{f.Number, f.Name() + ", " + f.How(), [2]float64{share(f.X), share(f.Y)}, [2]float64{f.W / float64(l.W), f.H / float64(l.H)}, f.Lines})
		}
		return nil
	})
	out.Says = says
	return out, err
}

// share is what a number with % says.
func share(percent string) float64 {
	v, _ := strconv.ParseFloat(strings.TrimSuffix(percent, "%"), 64)
	return v / 100
}

// taken is the recipe's text with the lines of one find, and what they are.
func taken(l *retouch.Look, number int) (text []byte, lines []string, err error) {
	t, err := l.Taken(context.Background(), []int{number})
	why := ""
	if err == nil && len(t.Left) == 0 {
		why, err = l.Vain(context.Background(), number)
	}
	switch {
	case err != nil:
		return nil, nil, err
	case why != "":
		return nil, nil, errors.New(why)
	case len(t.Left) > 0:
		return nil, nil, errors.New("no line was written: " + t.Left[0].Why)
	}
	if lines = append(t.Added, t.Widened...); len(lines) == 0 {
		return nil, nil, errors.New("there is no such find any more: the recipe mends it")
	}
	return t.Text, lines, nil
}

// take writes the lines of a find into the recipe's text, as one change, and says
// which line mends it now.
func (s *Server) take(r *recipe, q *chosen) (line int, err error) {
	says, err := s.looking(context.Background(), r, *q, func(rd *reading, l *retouch.Look) error {
		text, lines, err := taken(l, q.Number)
		if err != nil {
			return err
		}
		r.mu.Lock()
		defer r.mu.Unlock()
		if r.version != q.Version {
			return errStale
		}
		r.push(text, false)
		line = lineOf(rd.source, text, lines[0])
		return nil
	})
	return line, errors.Join(err, waits(says))
}

// lineOf is the line of now where text stands behind the first place in which it
// differs from was, or else that place's.
func lineOf(was, now []byte, text string) int {
	at := 0
	for at < min(len(was), len(now)) && was[at] == now[at] {
		at++
	}
	at = bytes.LastIndexByte(now[:at], '\n') + 1
	at += max(0, bytes.Index(now[at:], []byte(text)))
	return 1 + bytes.Count(now[:at], []byte("\n"))
}

// mended is the print's picture with the lines of a find in the recipe.
func (s *Server) mended(r *recipe, q *chosen) (v *looked, err error) {
	says, err := s.looking(context.Background(), r, *q, func(rd *reading, l *retouch.Look) error {
		text, lines, err := taken(l, q.Number)
		if err != nil {
			return err
		}
		j, err := s.reader.Read(context.Background(), r.path, text, interp.LoadOptions{Prints: []string{q.Print}, NoOutputs: true})
		if err != nil {
			return err
		}
		v = s.look(&reading{source: text, rec: j.Recipe}, j.Plans[0], stop{Line: j.Recipe.Print(q.Print).Save.Line})
		v.Words = strings.Join(lines, ", ")
		return nil
	})
	return v, errors.Join(err, waits(says))
}

// waits is the error of what waits for looking over.
func waits(says string) error {
	if says == "" {
		return nil
	}
	return errors.New(says)
}
