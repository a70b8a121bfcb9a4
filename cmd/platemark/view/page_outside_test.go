//go:build outside

package view

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"
	"time"
)

// pagesOf are pages of every form, by name.
func pagesOf(t *testing.T) map[string][]byte {
	out := map[string][]byte{}
	add := func(name string, write func(*bytes.Buffer) error) { out[name] = []byte(pageText(t, write)) }
	for shape, side := range map[string][2]int{"landscape": {1400, 933}, "portrait": {933, 1400}} {
		for n := 1; n <= 3; n++ {
			add(fmt.Sprintf("%s-%d", shape, n), func(b *bytes.Buffer) error {
				_, err := WriteProof(b, proofOf(side[0], side[1], n, false))
				return err
			})
		}
		add("look-"+shape, func(b *bytes.Buffer) error { return WriteInspect(b, lookOf(side[0], side[1], 12)) })
		add("diff-"+shape, func(b *bytes.Buffer) error { d, v := diffOf(side[0], side[1]); return WriteDiff(b, d, v) })
	}
	for n := 1; n <= 3; n++ {
		add(fmt.Sprintf("section-%d", n), func(b *bytes.Buffer) error { _, err := WriteProof(b, proofOf(700, 500, n, true)); return err })
	}
	add("section-wide", func(b *bytes.Buffer) error { _, err := WriteProof(b, proofOf(1600, 300, 2, true)); return err })
	return out
}

// chromium runs the browser until done, which may be nil, is closed or it ends.
func chromium(t *testing.T, done <-chan struct{}, args ...string) {
	t.Helper()
	c := exec.Command("chromium", append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--hide-scrollbars", "--user-data-dir=" + t.TempDir()}, args...)...)
	// Its children end with it.
	c.WaitDelay = 10 * time.Second
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { c.Wait(); close(ended) }()
	select {
	case <-done:
	case <-ended:
		return
	case <-time.After(5 * time.Minute):
		t.Error("the browser took over five minutes")
	}
	c.Process.Signal(os.Interrupt)
	<-ended
}

const measure = `<!doctype html><body><script>
const sizes = [[1440, 900], [1280, 720], [820, 1180]];
function seen(img, w) { // an image's box, cut by what scrolls round it
	const r = img.getBoundingClientRect();
	let [l, t, x, y] = [r.left, r.top, r.right, r.bottom], reach = true;
	for (let p = img.parentElement; p; p = p.parentElement) {
		const o = w.getComputedStyle(p).overflowX, q = p.getBoundingClientRect();
		if (p.tagName == "BODY" || p.tagName == "HTML") break;
		if (o == "visible") continue;
		if (o == "hidden" && (l < q.left - 1 || x > q.right + 1)) reach = false;
		if (p.scrollWidth < img.offsetLeft + 1) reach = false;
		[l, x] = [Math.max(l, q.left), Math.min(x, q.right)];
	}
	return {l, t: t + w.scrollY, x, y: y + w.scrollY, reach, alt: img.alt, shape: Math.abs((r.width / r.height) / (img.naturalWidth / img.naturalHeight) - 1)};
}
async function main() {
	const problems = [];
	let looked = 0;
	for (const page of PAGES) for (const [w, h] of sizes) {
		const f = document.createElement("iframe");
		f.style = "border: 0; width: " + w + "px; height: " + h + "px";
		f.src = "/" + page;
		const loaded = new Promise(r => f.onload = r);
		document.body.append(f);
		await loaded;
		const win = f.contentWindow, doc = f.contentDocument;
		await Promise.all([...doc.images].map(i => i.decode()));
		const say = m => problems.push(page + " at " + w + " x " + h + ": " + m);
		if (doc.documentElement.scrollWidth > w) say("wider than the window: " + doc.documentElement.scrollWidth);
		const boxes = [...doc.images].map(i => seen(i, win));
		looked += boxes.length;
		boxes.forEach((a, i) => {
			if (!a.reach || a.l < -0.5 || a.x > w + 0.5 || a.x - a.l < 40) say("can't be seen whole: " + a.alt);
			if (a.shape > 0.02 && a.alt.indexOf("scale") < 0) say("out of shape: " + a.alt);
			boxes.slice(i + 1).forEach(b => {
				if (a.l < b.x - 0.5 && b.l < a.x - 0.5 && a.t < b.y - 0.5 && b.t < a.y - 0.5) say(a.alt + " lies over " + b.alt);
			});
		});
		const figures = [...doc.querySelectorAll(".look figure")];
		if (!page.startsWith("section")) {
			for (const x of figures) if (x.getBoundingClientRect().bottom > h) say("below the window: " + x.id);
			// Chosen, a picture is larger and whole in the window.
			for (const x of figures) {
				const before = x.getBoundingClientRect().width;
				win.location.hash = x.id;
				await new Promise(r => win.setTimeout(r, 30));
				const r = x.getBoundingClientRect();
				if (r.width < before - 0.5 || r.top < -1 || r.bottom > h + 1 || r.right > w + 0.5) say(x.id + ", chosen, lies from " + r.top + " to " + r.bottom + ", " + r.width + " wide");
			}
		} else {
			for (const i of doc.querySelectorAll(".look img")) if (i.getBoundingClientRect().width != i.naturalWidth) say("scaled: " + i.alt);
		}
		// Greys: all but papers' whites and the map's marks.
		for (const e of doc.querySelectorAll("*")) {
			if (e.matches(".sheet, .sheet *, .chip")) continue;
			const s = win.getComputedStyle(e);
			for (const c of [s.color, s.backgroundColor, s.borderTopColor]) {
				const m = c.match(/^rgba?\((\d+), (\d+), (\d+)(, 0)?/);
				if (!m) say(e.tagName + " has the colour " + c);
				else if (!m[4] && (m[1] != m[2] || m[2] != m[3])) say(e.tagName + " isn't neutral: " + c);
			}
		}
		f.remove();
	}
	await fetch("/result", {method: "POST", body: JSON.stringify({problems, looked})});
}
main().catch(e => fetch("/result", {method: "POST", body: JSON.stringify({problems: [String(e.stack)], looked: 0})}));
</script>`

// Measured by a browser at three sizes of its window: nothing lies over
// anything, nothing is wider than the window, every picture of the whole is seen
// at once and can be made larger, sections aren't scaled, greys are neutral.
func TestOutsidePagesInBrowser(t *testing.T) {
	pages := pagesOf(t)
	names := []string{}
	for n := range pages {
		names = append(names, n)
	}
	list, _ := json.Marshal(names)
	var result struct {
		Problems []string
		Looked   int
	}
	done := make(chan struct{})
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case r.URL.Path == "/result":
			b, _ := io.ReadAll(r.Body)
			if err := json.Unmarshal(b, &result); err != nil {
				t.Error(err)
			}
			close(done)
		case r.URL.Path == "/":
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			fmt.Fprint(w, regexp.MustCompile("PAGES").ReplaceAllLiteralString(measure, string(list)))
		default:
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.Write(pages[r.URL.Path[1:]])
		}
	}))
	defer s.Close()
	chromium(t, done, "--window-size=1500,1300", "--remote-debugging-port=0", s.URL+"/")
	for _, p := range result.Problems {
		t.Error(p)
	}
	if result.Looked < 400 {
		t.Errorf("%d pictures were looked at", result.Looked)
	}
}

// On A4 a page takes two to four sheets.
func TestOutsidePagesOnPaper(t *testing.T) {
	for name, page := range pagesOf(t) {
		switch name {
		case "landscape-1", "portrait-3", "diff-portrait", "look-landscape", "section-wide":
		default:
			continue
		}
		dir := t.TempDir()
		file, pdf := filepath.Join(dir, name+".html"), filepath.Join(dir, "p.pdf")
		if err := os.WriteFile(file, page, 0o666); err != nil {
			t.Fatal(err)
		}
		chromium(t, nil, "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+file)
		b, err := os.ReadFile(pdf)
		if err != nil {
			t.Fatal(err)
		}
		if n := len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(b, -1)); n < 2 || n > 4 {
			t.Errorf("%s: %d sheets", name, n)
		}
	}
}
