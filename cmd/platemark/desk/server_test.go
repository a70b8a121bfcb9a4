package desk

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"platemark/interp"
	"platemark/interp/interptest"
	"platemark/ops/raster"
)

const written = `recipe 1 draft
title "Évening 😀"   # a title
master "m.tif" space sRGB

mask corner {
    ellipse at (20%, 20%) size 50% x 50% soft 50%
}

prepare {
    spot at (30%, 30%) radius 0.9%
    tone through corner {
        exposure +0.5 stops
    }
}

print p {
    size 4 in wide at 300 ppi
    enlarge with mitchell
    sharpen radius 1 px amount 100%
    save tiff "p.tif" bits 8
}
`

const host = "127.0.0.1:4321"

// opened is a server of one recipe in a new folder.
func opened(t *testing.T, text string) (s *Server, path, keep string) {
	t.Helper()
	dir := t.TempDir()
	path, keep = filepath.Join(dir, "work", "r.recipe"), filepath.Join(dir, "kept")
	interptest.Write(t, path, text)
	interptest.WriteMaster(t, filepath.Join(dir, "work", "m.tif"), 600, 400, 3, "")
	return again(t, path, keep), path, keep
}

// again opens a recipe as another run does.
func again(t *testing.T, path, keep string) *Server {
	t.Helper()
	s, err := New([]string{path}, keep, 2)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	s.guard = newGuard(host)
	return s
}

// call asks the server as the page does; v, if not nil, takes the answer.
func call(t *testing.T, s *Server, method, address string, body, v any) int {
	t.Helper()
	b, _ := json.Marshal(body)
	q := httptest.NewRequest(method, address, bytes.NewReader(b))
	q.Host = host
	q.AddCookie(&http.Cookie{Name: s.guard.cookie, Value: s.guard.secret})
	if method == "POST" {
		q.Header.Set("Origin", "http://"+host)
	}
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, q)
	if v != nil && w.Code == http.StatusOK {
		if err := json.Unmarshal(w.Body.Bytes(), v); err != nil {
			t.Fatalf("%s: %v", address, err)
		}
	}
	return w.Code
}

func stateOf(t *testing.T, s *Server, line int) (st state) {
	t.Helper()
	if c := call(t, s, "GET", fmt.Sprintf("/state?file=0&line=%d", line), nil, &st); c != 200 {
		t.Fatalf("state: %d", c)
	}
	return st
}

// type_ puts text in the place of what it finds first.
func type_(t *testing.T, s *Server, what, text string) int {
	t.Helper()
	st := stateOf(t, s, 0)
	at := strings.Index(st.Text, what)
	if at < 0 {
		t.Fatalf("the text has no %q", what)
	}
	place := func(at int) map[string]int {
		row := st.Text[strings.LastIndexByte(st.Text[:at], '\n')+1 : at]
		n := 0
		for _, r := range row {
			if n++; r > 0xffff {
				n++
			}
		}
		return map[string]int{"line": strings.Count(st.Text[:at], "\n"), "character": n}
	}
	return call(t, s, "POST", "/change?file=0", map[string]any{"version": st.Version,
		"changes": []any{map[string]any{"range": map[string]any{"start": place(at), "end": place(at + len(what))}, "text": text}}}, nil)
}

// Only requests that name the one host, come from the page itself and bear its
// cookie are answered; what is refused for its host or origin learns nothing.
func TestOnlyTheBrowserThatWasLetIn(t *testing.T) {
	s, path, _ := opened(t, written)
	h := s.Handler()
	good := s.guard.cookie + "=" + s.guard.secret
	for _, c := range []struct {
		method, address, host, origin, cookie string
		want                                  int
		empty                                 bool
	}{
		{"GET", "/state?file=0", host, "", good, 200, false},
		{"GET", "/", host, "", "", 403, false},
		{"GET", "/", host, "", "platemark-1=" + s.guard.secret, 403, false},
		{"GET", "/", host, "", s.guard.cookie + "=" + newSecret(), 403, false},
		{"GET", "/", host, "", s.guard.cookie + "=", 403, false},
		{"GET", "/tile?key=x&w=1&h=1", host, "", "", 403, false},
		{"GET", "/news", host, "", "", 403, false},
		{"GET", "/?enter=" + newSecret(), host, "", "", 403, false},
		{"POST", "/save?file=0", host, "", good, 403, true},
		{"POST", "/save?file=0", host, "null", good, 403, true},
		{"POST", "/save?file=0", host, "http://127.0.0.1:4322", good, 403, true},
		{"POST", "/save?file=0", host, "http://0.0.0.0:4321", good, 403, true},
		{"POST", "/save?file=0", host, "https://" + host, good, 403, true},
		{"POST", "/save?file=0", host, "http://" + host, good, 200, false},
		{"POST", "/save?file=0", "evil.example:4321", "http://evil.example:4321", good, 403, true},
		{"GET", "/state?file=0", "evil.example:4321", "", good, 403, true},
		{"GET", "/state?file=0", "localhost:4321", "", good, 403, true},
		{"GET", "/state?file=0", "LOCALHOST:4321", "", good, 403, true},
		{"GET", "/state?file=0", "localhost.evil.example:4321", "", good, 403, true},
		{"GET", "/state?file=0", "127.0.0.1.evil.example", "", good, 403, true},
		{"GET", "/state?file=0", "127.0.0.1", "", good, 403, true},
		{"GET", "/state?file=0", "", "", good, 403, true},
		{"GET", "/state?file=1", host, "", good, 400, false},
		{"GET", "/state?file=-1", host, "", good, 400, false},
		{"PUT", "/state?file=0", host, "http://" + host, good, 405, false},
	} {
		q := httptest.NewRequest(c.method, c.address, strings.NewReader("{}"))
		q.Host = c.host
		if c.origin != "" {
			q.Header.Set("Origin", c.origin)
		}
		if c.cookie != "" {
			q.Header.Set("Cookie", c.cookie)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, q)
		if w.Code != c.want || c.empty && w.Body.Len() > 0 {
			t.Errorf("%v: %d %q", c, w.Code, w.Body)
		}
	}
	if b, err := os.ReadFile(path); err != nil || string(b) != written {
		t.Error("a refused request touched the recipe")
	}
}

// An address lets in once and for a minute; the cookie is the browser's alone,
// and what is loaded is this server's alone.
func TestAddressServesOnce(t *testing.T) {
	s, _, _ := opened(t, written)
	enter := func(address string) *http.Response {
		q := httptest.NewRequest("GET", strings.TrimPrefix(address, "http://"+host), nil)
		q.Host = host
		w := httptest.NewRecorder()
		s.Handler().ServeHTTP(w, q)
		return w.Result()
	}
	first := s.guard.address()
	second := s.guard.address()
	if r := enter(first); r.StatusCode != 403 {
		t.Errorf("an address that another took the place of: %d", r.StatusCode)
	}
	r := enter(second)
	c := r.Cookies()
	if r.StatusCode != 303 || r.Header.Get("Location") != "/" || len(c) != 1 || c[0].Name != "platemark-4321" || !c[0].HttpOnly || c[0].SameSite != http.SameSiteStrictMode {
		t.Errorf("let in: %d, %v", r.StatusCode, c)
	}
	for name, part := range map[string]string{"Content-Security-Policy": "default-src 'none'", "Referrer-Policy": "no-referrer", "Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"} {
		if v := r.Header.Get(name); !strings.Contains(v, part) {
			t.Errorf("%s is %q", name, v)
		}
	}
	if strings.Contains(policy, "unsafe") || strings.Contains(policy, "*") {
		t.Error("the policy lets others in")
	}
	if r := enter(second); r.StatusCode != 403 {
		t.Errorf("a second time: %d", r.StatusCode)
	}
	late := s.guard.address()
	s.guard.expires = time.Now().Add(-time.Second)
	if r := enter(late); r.StatusCode != 403 {
		t.Errorf("after a minute: %d", r.StatusCode)
	}
}

// The page loads nothing from elsewhere and reads no picture back.
func TestPageIsItsOwn(t *testing.T) {
	list, err := files.ReadDir("page")
	if err != nil || len(list) < 5 {
		t.Fatalf("%d files, %v", len(list), err)
	}
	for _, f := range list {
		b, err := files.ReadFile("page/" + f.Name())
		if err != nil {
			t.Fatal(err)
		}
		text := strings.ReplaceAll(string(b), "http://www.w3.org/2000/svg", "")
		for _, bad := range []string{"http:", "https:", "//cdn", "getImageData", "toDataURL", "toBlob", "innerHTML", "eval(", " style=", "<script>", "onclick=\""} {
			if strings.Contains(text, bad) {
				t.Errorf("%s has %s", f.Name(), bad)
			}
		}
	}
}

// Whatever path is asked for over a bare connection, no file of the disk is
// served, and one that is there looks like one that isn't.
func TestPathsLeadNowhere(t *testing.T) {
	s, path, _ := opened(t, written)
	if err := os.Symlink("/etc/passwd", filepath.Join(filepath.Dir(path), "link")); err != nil {
		t.Log(err) // not on every system
	}
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ready, ended := make(chan bool, 1), make(chan error, 1)
	go func() { ended <- s.Serve(ctx, l, nil, func(string) { ready <- true }) }()
	<-ready
	answers := map[string][]string{}
	for _, p := range []string{"/nothing", "/r.recipe", "/link", "/../work/r.recipe", "/%2e%2e/work/r.recipe", "/%252e%252e/x", "/..%2fx", "//r.recipe", `/a/..\x`, "/%00", "/page/index.html", path, "/m.tif"} {
		c, err := net.Dial("tcp4", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(c, "GET %s HTTP/1.1\r\nHost: %s\r\nCookie: %s=%s\r\nConnection: close\r\n\r\n", p, s.guard.host, s.guard.cookie, s.guard.secret)
		r, err := http.ReadResponse(bufio.NewReader(c), nil)
		if err != nil {
			t.Fatalf("%s: %v", p, err)
		}
		var b bytes.Buffer
		b.ReadFrom(r.Body)
		c.Close()
		if r.StatusCode != 404 && r.StatusCode != 400 && r.StatusCode != 301 && r.StatusCode != 307 || strings.Contains(b.String(), "recipe 1") || strings.Contains(b.String(), "root:") {
			t.Errorf("%s: %d %q", p, r.StatusCode, b.String())
		}
		if r.StatusCode == 404 && !slices.Contains(answers["404"], b.String()) {
			answers["404"] = append(answers["404"], b.String())
		}
	}
	if len(answers["404"]) != 1 {
		t.Errorf("what isn't found is told apart: %q", answers["404"])
	}
	// Two lines that name a host, as a request smuggled through another would.
	c, err := net.Dial("tcp4", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(c, "GET / HTTP/1.1\r\nHost: %s\r\nHost: evil.example\r\n\r\n", s.guard.host)
	if r, err := http.ReadResponse(bufio.NewReader(c), nil); err != nil || r.StatusCode != 400 {
		t.Errorf("two hosts: %v, %v", r, err)
	}
	c.Close()
	stop()
	if err := <-ended; err != nil {
		t.Errorf("it ended with %v", err)
	}
}

// A tile has the samples of a section of the build, brought to 8 bits as files
// are, and the print's profile.
func TestTileIsSection(t *testing.T) {
	s, path, _ := opened(t, written)
	st := stateOf(t, s, 0)
	if st.Picture == nil || st.Picture.W != 1200 || st.Picture.H != 800 {
		t.Fatalf("%+v %q", st.Picture, st.Why)
	}
	r := image.Rect(300, 200, 812, 500)
	b, err := s.tile(context.Background(), st.Picture.Key, level{by: 1}, r)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(b[:64], []byte("iCCP")) {
		t.Error("the tile has no profile")
	}
	got, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	j, err := interp.Load(context.Background(), path, interp.LoadOptions{NoOutputs: true})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	tif := filepath.Join(t.TempDir(), "s.tif")
	if _, err := interp.Section(context.Background(), j, j.Plans[0], r.Min.X, r.Min.Y, r.Dx(), r.Dy(), tif, interp.BuildOptions{}); err != nil {
		t.Fatal(err)
	}
	_, want := interptest.Decode(t, tif)
	row := make([]byte, 3*r.Dx())
	for y := range r.Dy() {
		raster.Eight(row, want[y*3*r.Dx():(y+1)*3*r.Dx()], 3, r.Min.X, r.Min.Y+y)
		for x := range r.Dx() {
			c := color.NRGBAModel.Convert(got.At(x, y)).(color.NRGBA)
			if c.R != row[3*x] || c.G != row[3*x+1] || c.B != row[3*x+2] || c.A != 255 {
				t.Fatalf("pixel %d, %d is %v, the section has %v", x, y, c, row[3*x:3*x+3])
			}
		}
	}
	// The value under the pointer is the section's own, in 16 bits.
	v, err := s.values(context.Background(), st.Picture.Key, "", image.Pt(310, 205))
	if at := (5*r.Dx() + 10) * 3; err != nil || !slices.Equal(v.Codes, want[at:at+3]) {
		t.Errorf("values %v, %v; the section has %v", v, err, want[at:at+3])
	}
	for _, bad := range []image.Rectangle{image.Rect(1000, 0, 1300, 10), image.Rect(0, 790, 10, 810)} {
		if _, err := s.tile(context.Background(), st.Picture.Key, level{by: 1}, bad); err == nil {
			t.Errorf("a tile at %v of a smaller picture", bad)
		}
	}
	if c := call(t, s, "GET", "/tile?x=0&y=0&w=10&h=10&key="+strings.Repeat("0", 64), nil, nil); c != http.StatusGone {
		t.Errorf("a picture that isn't known: %d", c)
	}
}

// Every line of a print has its picture, the one before it, and the part of the
// frame that it shows; lines of masks have the print's, with the mask over it.
func TestLinesHavePictures(t *testing.T) {
	s, _, _ := opened(t, strings.Replace(written, "    enlarge", "    crop (25%, 25%) to (75%, 75%)\n    enlarge", 1))
	for _, c := range []struct {
		line, shown, w int
		before         int
		covers         [4]float64
		mask           string
	}{
		{3, 3, 600, 0, [4]float64{0, 0, 600, 400}, ""},
		{6, 6, 1200, 0, [4]float64{150, 100, 450, 300}, "corner"},
		{10, 10, 600, 3, [4]float64{0, 0, 600, 400}, ""},
		{12, 11, 600, 10, [4]float64{0, 0, 600, 400}, "corner"}, // inside the tone block
		{18, 18, 300, 11, [4]float64{150, 100, 450, 300}, ""},
		{19, 19, 1200, 18, [4]float64{150, 100, 450, 300}, ""},
		{20, 20, 1200, 19, [4]float64{150, 100, 450, 300}, ""},
		{0, 21, 1200, 0, [4]float64{150, 100, 450, 300}, ""},
	} {
		st := stateOf(t, s, c.line)
		if st.Picture == nil {
			t.Errorf("line %d: no picture, %s", c.line, st.Why)
			continue
		}
		before, mask := 0, ""
		if st.Before != nil {
			before = st.Before.Line
		}
		if st.Picture.Mask != nil {
			mask = st.Picture.Mask.Name
		}
		if st.Line != c.shown || st.Picture.W != c.w || before != c.before || st.Picture.Covers != c.covers || mask != c.mask {
			t.Errorf("line %d: %d, %+v, before %d, mask %q", c.line, st.Line, *st.Picture, before, mask)
		}
	}
}

// A line is compared with any other line of its print.
func TestLinesBesideEachOther(t *testing.T) {
	s, _, _ := opened(t, written)
	for _, c := range []struct{ line, beside, before int }{{19, 0, 18}, {19, 10, 10}, {10, 19, 19}, {19, 19, 0}} {
		var st state
		call(t, s, "GET", fmt.Sprintf("/state?file=0&line=%d&beside=%d", c.line, c.beside), nil, &st)
		got := 0
		if st.Before != nil {
			got = st.Before.Line
		}
		if st.Line != c.line || got != c.before || st.Beside != c.beside {
			t.Errorf("%+v: %d beside %d", c, st.Line, got)
		}
	}
}

// A mask's tile has the mask's own strength where it lies over the picture.
func TestMaskLiesOverThePicture(t *testing.T) {
	s, _, _ := opened(t, written)
	st := stateOf(t, s, 11)
	for _, l := range []level{{by: 1}, {by: 4}, {by: 1, w: 300}} {
		w, h := 600, 400
		switch {
		case l.w > 0:
			w, h = 300, 200
		case l.by > 1:
			w, h = 150, 100
		}
		b, err := s.mask(context.Background(), st.Picture.Key, st.Picture.Mask.Key, l, image.Rect(0, 0, min(w, tileMost), h))
		if err != nil {
			t.Fatal(err)
		}
		m, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		// The ellipse's middle is full, the frame's far corner empty.
		at := func(x, y float64) uint8 {
			return m.(*image.NRGBA).NRGBAAt(int(x*float64(w)), int(y*float64(h))).A
		}
		if at(0.2, 0.2) < 250 || at(0.8, 0.9) != 0 || at(0.2, 0.5) > 200 || at(0.2, 0.5) < 20 {
			t.Errorf("%+v: %d in the middle, %d at its rim, %d far off", l, at(0.2, 0.2), at(0.2, 0.5), at(0.8, 0.9))
		}
	}
	v, err := s.values(context.Background(), st.Picture.Key, st.Picture.Mask.Key, image.Pt(120, 80))
	if err != nil || v.Mask == nil || *v.Mask < 0.99 {
		t.Errorf("%+v, %v", v, err)
	}
}
