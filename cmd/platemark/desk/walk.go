package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/lang"
)

// walk is what has been seen of a print at a size, on a walk over all of it. What
// was seen is known by the picture that was shown: spots aside by its key, and of
// spots by their places, since all that a spot changes lies near it.
type walk struct {
	Print string   `json:"print"`
	Zoom  int      `json:"zoom"` // device pixels to 100 of the print
	Key   string   `json:"key"`  // of the print without spots
	Spots []disc   `json:"spots"`
	Parts []walked `json:"parts"` // in the order in which they were seen
}

// walked is a part of the frame, in shares of its width and height, that was seen;
// or one that is to be seen again, as what it shows is another picture now.
type walked struct {
	At    [4]float64 `json:"at"` // left, top, right, bottom
	Again bool       `json:"again,omitempty"`
}

// disc is where a spot line mends, in frame pixels, and that line.
type disc struct {
	X, Y, R float64
	Line    string
}

// mostWalks and mostParts bound what is remembered of a recipe.
const (
	mostWalks = 12
	mostParts = 4000
)

// step is what the page says of a walk, and asks.
type step struct {
	Version int
	Print   string
	Zoom    int
	Seen    *[4]float64 // a part that was seen, nil for none
	Anew    bool        // nothing counts as seen any more
}

// walking is the walk as it stands; Words say what is to be seen again, and why.
type walking struct {
	Parts []walked `json:"parts"`
	Words string   `json:"words,omitempty"`
}

func (s *Server) routeWalk(m *http.ServeMux) {
	m.HandleFunc("POST /walk", posted(s, func(r *recipe, q *step) (any, error) { return s.walk(r, q) }))
}

// walkFile is where walks over the prints of a recipe are kept, beside what isn't
// saved of it.
func (r *recipe) walkFile() string { return strings.TrimSuffix(r.keep, ".json") + ".walk.json" }

// walks are those that are kept, the latest first.
func (r *recipe) walks() (list []walk, err error) {
	b, err := disk.Read(r.walkFile(), 16<<20)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err == nil {
		err = json.Unmarshal(b, &list)
	}
	if err != nil {
		return nil, fmt.Errorf("what was seen of %s lies in %s and can't be read: %w; move that file away to begin anew", r.path, r.walkFile(), err)
	}
	return list, nil
}

// walk brings the walk over a print up to its present picture, and remembers what
// was seen.
func (s *Server) walk(r *recipe, q *step) (*walking, error) {
	rd, p, err := s.drawn(r, q.Version, q.Print)
	if err != nil {
		return nil, err
	}
	at := q.Seen
	if q.Zoom < 1 || q.Zoom > 400 || at != nil && !(-1 < at[0] && at[0] < at[2] && at[2] < 2 && -1 < at[1] && at[1] < at[3] && at[3] < 2) {
		return nil, errAsked
	}
	f := frameOf(p)
	key, spots, err := s.withoutSpots(r, rd, f, q.Print)
	if err != nil {
		return nil, err
	}
	s.walksMu.Lock()
	defer s.walksMu.Unlock()
	list, err := r.walks()
	if err != nil {
		return nil, err
	}
	now, out := walk{Print: q.Print, Zoom: q.Zoom, Key: key, Spots: spots}, &walking{Parts: []walked{}}
	same := func(w walk) bool { return w.Print == q.Print && w.Zoom == q.Zoom && w.Key == key }
	if i := slices.IndexFunc(list, same); i >= 0 {
		now.Parts = list[i].Parts
		if again := changed(f, list[i].Spots, spots); len(again) > 0 && len(now.Parts) > 0 {
			now.Parts = append(now.Parts, again...)
			out.Words = "spots were changed: what lies near them is to be seen again, the rest stays seen"
		}
		list = slices.Delete(list, i, i+1)
	} else if slices.ContainsFunc(list, func(w walk) bool { return w.Print == q.Print && w.Zoom == q.Zoom && len(w.Parts) > 0 }) {
		out.Words = "the recipe makes another picture than the one that was seen: all of it is to be seen again (undo brings back what was seen)"
	}
	if q.Anew {
		now.Parts, out.Words = nil, ""
	}
	if at != nil {
		now.Parts = append(now.Parts, walked{At: *at})
	}
	now.Parts = now.Parts[max(0, len(now.Parts)-mostParts):]
	list = slices.Insert(list, 0, now)
	b, err := json.Marshal(list[:min(len(list), mostWalks)])
	if err == nil {
		err = os.MkdirAll(filepath.Dir(r.walkFile()), 0o700)
	}
	if err == nil {
		err = disk.Write(r.walkFile(), b, true)
	}
	out.Parts = append(out.Parts, now.Parts...)
	return out, err
}

// withoutSpots is the key of a print's picture as it is without spots, and where
// those lie.
func (s *Server) withoutSpots(r *recipe, rd *reading, f frame, print string) (key string, spots []disc, err error) {
	text, _ := lang.ReadSource("", rd.source)
	px := func(m lang.Measure, side float64) float64 {
		if m.Unit != "%" {
			return flt(m.Value)
		}
		return ofPercent(m) * side
	}
	var edits []lang.Edit
	for _, st := range stepsOf(rd.rec, rd.rec.Print(print)) {
		sp, ok := st.(*lang.SpotAt)
		if !ok {
			continue
		}
		e := lang.Replace(rd.source, sp.Span, "")
		spots = append(spots, disc{px(sp.At.X, f.w), px(sp.At.Y, f.h), px(sp.Radius, f.long()), string(rd.source[e.From:e.To])})
		e.From, e.To = text.WholeLines(e.From, e.To)
		edits = append(edits, e)
	}
	j, err := s.reader.Read(context.Background(), r.path, lang.Apply(rd.source, edits...), interp.LoadOptions{Prints: []string{print}, NoOutputs: true})
	if err != nil || len(j.Plans) != 1 {
		return "", nil, errors.Join(err, errNothing)
	}
	p := j.Plans[0]
	return p.Nodes[p.Out].Key.String(), spots, nil
}

// spotReach is how far around a spot of radius r, px of the frame, another one may
// change what it is filled with (BYTES, Operation spots: read).
func spotReach(r float64) float64 { return 17*r + 30 }

// changed are the parts of the frame that other spots make another picture: the
// places of those that came or went, and of those near them that choose where they
// are filled from, each with twice its radius and a thousandth of the frame around
// it for what later lines draw from there.
func changed(f frame, was, now []disc) (out []walked) {
	has := func(list []disc, d disc) bool { return slices.Contains(list, d) }
	var other []disc
	for _, d := range slices.Concat(was, now) {
		if !has(was, d) || !has(now, d) {
			other = append(other, d)
		}
	}
	for _, d := range slices.Concat(was, now) {
		if !slices.ContainsFunc(other, func(o disc) bool {
			return d == o || !strings.Contains(d.Line, " from ") && math.Hypot(d.X-o.X, d.Y-o.Y) < spotReach(d.R)+o.R
		}) {
			continue
		}
		r := 3*d.R + f.long()/1000
		w := walked{[4]float64{(d.X - r) / f.w, (d.Y - r) / f.h, (d.X + r) / f.w, (d.Y + r) / f.h}, true}
		if !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return out
}
