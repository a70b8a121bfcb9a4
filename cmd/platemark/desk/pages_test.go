package desk

import (
	"bytes"
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"platemark/cmd/platemark/view"
	"platemark/interp"
	"platemark/interp/proof"
)

// pageOf asks for a page that a command writes.
func pageOf(s *Server, address string) *httptest.ResponseRecorder {
	q := httptest.NewRequest("GET", address, nil)
	q.Host = host
	q.AddCookie(&http.Cookie{Name: s.guard.cookie, Value: s.guard.secret})
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, q)
	return w
}

// The pages of proof and diff show what is typed, saved or not, as the commands show
// it, and reach nothing beyond the recipe's folder.
func TestPagesThatCommandsWrite(t *testing.T) {
	s, path := compared(t)
	type_(t, s, "border 0.1 in", "border 0.2 in")
	ctx := context.Background()
	j, err := interp.LoadText(ctx, path, filepath.Dir(path), []byte(stateOf(t, s, 0).Text), interp.LoadOptions{NoOutputs: true})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	pr, err := proof.Make(ctx, j, "card", proof.Options{Papers: []string{"rag"}})
	if err != nil {
		t.Fatal(err)
	}
	var want bytes.Buffer
	if _, err := view.WriteProof(&want, view.ProofPage{Recipe: "r.recipe", Title: "Sluice", Proof: pr, Made: time.Now(), Name: "card"}); err != nil {
		t.Fatal(err)
	}
	w, day := pageOf(s, "/proofed?file=0&print=card&paper=rag"), regexp.MustCompile(`\d+ \w+ \d{4}, \d\d:\d\d`)
	if w.Code != 200 || day.ReplaceAllString(w.Body.String(), "") != day.ReplaceAllString(want.String(), "") || strings.Contains(w.Header().Get("Content-Security-Policy"), "script") {
		t.Errorf("proof's page: %d, %q, %d bytes, the command's %d", w.Code, w.Header(), w.Body.Len(), want.Len())
	}
	for with, says := range map[string][]string{
		"round 1":                    {"round 1", "0.1 in", "0.2 in"},
		"print card of other.recipe": {"print card of other.recipe", "0.2 in"},
	} {
		w := pageOf(s, "/differed?"+url.Values{"file": {"0"}, "print": {"card"}, "with": {with}}.Encode())
		for _, v := range says {
			if w.Code != 200 || !strings.Contains(w.Body.String(), v) {
				t.Errorf("from %s: %d, without %q: %.300s", with, w.Code, v, w.Body)
			}
		}
	}
	for address, code := range map[string]int{
		"/proofed?file=0&print=card&paper=velvet":                       422,
		"/proofed?file=0&print=card&paper=../prints/rag":                422,
		"/proofed?file=0&print=none":                                    422,
		"/proofed?file=1&print=card":                                    400,
		"/differed?file=0&print=card&with=paper+rag":                    400,
		"/differed?file=0&print=card&with=":                             400,
		"/differed?file=0&print=card&with=round+9":                      422,
		"/differed?file=0&print=card&with=print+large+of+../out.recipe": 422,
		"/differed?file=0&print=card&with=print+none+of+other.recipe":   422,
	} {
		if w := pageOf(s, address); w.Code != code || strings.Contains(w.Body.String(), "<") {
			t.Errorf("%s: %d, expected %d: %.200s", address, w.Code, code, w.Body)
		}
	}
	type_(t, s, "amount 100%", "amount 100")
	if w := pageOf(s, "/proofed?file=0&print=card&paper=rag"); w.Code != 422 {
		t.Errorf("with an error in the recipe: %d", w.Code)
	}
}
