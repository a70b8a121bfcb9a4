package desk

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"net/http"
	"strings"
	"sync"
	"time"
)

// guard lets in what the person at this machine's browser asks for, and nothing
// else that reaches the port: other users, other pages of the browser, names
// that were made to lead to 127.0.0.1.
type guard struct {
	host   string // the one that requests must name, 127.0.0.1:PORT
	cookie string // its name; browsers share cookies among the ports of a host
	secret string

	mu      sync.Mutex
	once    string // lets one browser in, "" once it has
	expires time.Time
}

const enterTime = time.Minute

func newSecret() string {
	var b [24]byte
	rand.Read(b[:]) // never fails
	return hex.EncodeToString(b[:])
}

// address is what lets a browser in, once and within a minute.
func (g *guard) address() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.once, g.expires = newSecret(), time.Now().Add(enterTime)
	return "http://" + g.host + "/?enter=" + g.once
}

func same(a, b string) bool { return b != "" && subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// spend takes the token of an address; it serves once.
func (g *guard) spend(token string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	ok := same(token, g.once) && time.Now().Before(g.expires)
	if ok {
		g.once = ""
	}
	return ok
}

// policy lets the page load what this server has, and speak with nobody else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

const outside = `This address lets a browser in once, within a minute of its printing.
Press Enter in the terminal where platemark view runs: it prints a new one.
`

func (g *guard) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		own := "http://" + g.host
		origin, sent := r.Header["Origin"]
		if r.Host != g.host || sent && (len(origin) != 1 || origin[0] != own) {
			w.WriteHeader(http.StatusForbidden)
			return
		}
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if token := r.URL.Query().Get("enter"); token != "" && r.Method == http.MethodGet && r.URL.Path == "/" {
			if !g.spend(token) {
				http.Error(w, outside, http.StatusForbidden)
				return
			}
			http.SetCookie(w, &http.Cookie{Name: g.cookie, Value: g.secret, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
			http.Redirect(w, r, "/", http.StatusSeeOther)
			return
		}
		c, err := r.Cookie(g.cookie)
		if err != nil || !same(c.Value, g.secret) {
			http.Error(w, outside, http.StatusForbidden)
			return
		}
		// What changes something comes from the page itself: browsers say so.
		if r.Method != http.MethodGet && r.Method != http.MethodHead && !sent {
			w.WriteHeader(http.StatusForbidden)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func newGuard(host string) *guard {
	_, port, _ := strings.Cut(host, ":")
	return &guard{host: host, cookie: "platemark-" + port, secret: newSecret()}
}
