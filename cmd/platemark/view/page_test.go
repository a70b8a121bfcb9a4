package view

import (
	"bytes"
	"encoding/base64"
	"html"
	"image/png"
	"regexp"
	"strings"
	"testing"
	"time"

	"platemark/interp"
	"platemark/interp/compare"
	"platemark/interp/inspect"
	"platemark/interp/proof"
	"platemark/interp/retouch"
	"platemark/ops/colour"
)

// slope is an invented picture.
func slope(w, h int) interp.ViewPicture {
	p := interp.ViewPicture{Print: "wall", FullW: 10 * w, FullH: 10 * h, W: w, H: h, RGB: make([]uint8, 3*w*h)}
	for i := range w * h {
		copy(p.RGB[3*i:], []uint8{uint8(255 * (i % w) / w), uint8(255 * (i / w) / h), 90})
	}
	return p
}

// proofOf is an invented proof on so many papers.
func proofOf(w, h, papers int, section bool) ProofPage {
	m := slope(w, h)
	p := &proof.Proof{Print: "wall", Mark: "0123456789ab", Round: "4", Meant: m}
	if section {
		p.Section = [4]int{20, 30, w, h}
	}
	for i, name := range []string{"baryta", "rag", "silk"}[:papers] {
		q := proof.OnPaper{Paper: name, Profile: "Invented " + name, Intent: "relative", Own: i == 0, Shown: m,
			White: colour.Lab{L: 96 - float64(i), B: 2}, Black: colour.Lab{L: 8}, Outside: make([]colour.Verdict, w*h),
			Tone: []string{"tone for " + name + " {", "    exposure       +0.2 stops", "}"}}
		for k := range q.Outside {
			q.Outside[k] = colour.Verdict(3 * (k % w) / w)
		}
		q.Share, q.TooDark, q.TooColourful = 0.6609, 0.33045, 0.33045
		q.Mean = float64(i)
		q.Lightness = []proof.Band{{From: 0, Till: 2.5, Low: 5, Mid: 8, High: 9}, {From: 97.5, Till: 100, Low: 95, Mid: 97, High: 99.9}, {From: 100, Till: 102.5, Low: 99, Mid: 100, High: 100.2}}
		q.Chrom = []proof.Band{{From: 0, Till: 4, Low: 1, Mid: 2, High: 3}, {From: 84, Till: 88, Low: 60, Mid: 65, High: 88}}
		for n := range 5 {
			q.Places = append(q.Places, proof.Place{X: 100 * n, Y: 40, What: "darks come out lighter: L* 3 becomes 9", Mean: 3, Meant: slope(288, 216), Shown: slope(288, 216)})
		}
		p.Papers = append(p.Papers, q)
	}
	return ProofPage{Recipe: "salt-road.recipe", Title: "Salt road, invented", Proof: p, Made: time.Date(2026, 11, 26, 9, 5, 0, 0, time.UTC), Name: "wall"}
}

// diffOf is an invented comparison.
func diffOf(w, h int) (*compare.Diff, *compare.View) {
	delta := make([]float32, w*h)
	for i := range delta {
		delta[i] = float32(i%w) / 100
	}
	f := interp.Figures{Mean: 3, P95: 8, Largest: 9, Above1: 0.0024, Above3: 0.99999}
	d := &compare.Diff{A: "salt-road.recipe@2", B: "salt-road.recipe", Prints: []compare.PrintPair{{A: "wall", B: "wall", MarkA: strings.Repeat("ab", 32), MarkB: strings.Repeat("cd", 32)}},
		Changes: []compare.Change{{Kind: "changed", Where: "print wall", Step: "sharpen", LineA: 4, LineB: 4, Param: "amount", Old: "100%", New: "130%", Delta: "+30%"}}}
	v := &compare.View{A: slope(w, h), B: slope(w, h), Aligned: true, W: w, H: h, Delta: delta, Whole: f, Shares: []float64{1}}
	for _, n := range []string{"top left", "top centre", "top right", "middle left", "middle centre", "middle right", "bottom left", "bottom centre", "bottom right"} {
		v.Regions = append(v.Regions, compare.Region{Name: n, Figures: f})
	}
	for range 4 {
		v.Sections = append(v.Sections, compare.Section{A: slope(384, 384), B: slope(384, 384), Aligned: true, Delta: make([]float32, 384*384), Figures: f})
	}
	return d, v
}

// lookOf is an invented look with so many finds, some of which no line mends.
func lookOf(w, h, finds int) InspectPage {
	whole := slope(w, h)
	v := &retouch.View{Whole: &whole}
	for i := range finds {
		f := retouch.Find{Find: inspect.Find{Kind: inspect.Dust, At: inspect.Point{X: float64(10 * w * i / finds), Y: float64(10 * h * i / finds)}, Contrast: -0.2, Width: 9, Seen: float64(finds - i)},
			Number: i + 1, X: "22.7%", Y: "48.1%"}
		before, after := slope(288, 216), slope(288, 216)
		p := retouch.Place{Find: f, Before: &before, Across: 0.5, Down: float64(i) / float64(finds)}
		if i%3 > 0 {
			p.Lines, p.After = []string{"spot at (22.7%, 48.1%) radius 0.12%"}, &after
		}
		v.Places = append(v.Places, p)
	}
	return InspectPage{Name: "salt-road.recipe", SeenOn: "print wall, 60 x 40 in, from 1.8 m", Open: finds + 5, View: v, More: []string{"dust: and 140 more like these"},
		Words: []string{"noise: 0.45 % of full scale"}, Made: time.Date(2026, 11, 26, 9, 5, 0, 0, time.UTC)}
}

func pageText(t testing.TB, write func(*bytes.Buffer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// words is a page without its pictures and style.
func words(page string) string {
	page = regexp.MustCompile(`(?s)<style>.*</style>|data:image/png;base64,[A-Za-z0-9+/=&#;]+`).ReplaceAllString(page, "")
	return strings.Join(strings.Fields(html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, " "))), " ")
}

// A proof's page says which print it shows and when, what stands between as
// meant and the paper, and what can't be printed for which reason.
func TestProofPageSays(t *testing.T) {
	page := pageText(t, func(b *bytes.Buffer) error { _, err := WriteProof(b, proofOf(300, 200, 2, false)); return err })
	text := words(page)
	for _, want := range []string{"salt-road.recipe, round 4, mark 0123456789ab · 26 November 2026, 09:05", "As meant is the print without this block",
		"tone for rag { exposure +0.2 stops }", "can't be printed 66.1 % 66.1 % too dark 33.1 % 33.1 % too colourful 33.0 % 33.0 %", "too dark: 33.1 %", "too colourful: 33.0 %", "darks come out lighter: L* 3 becomes 9"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page doesn't say %q", want)
		}
	}
	// Axes of L* end at 100, though rounding goes beyond; those of chroma where
	// the colours do.
	axes := regexp.MustCompile(`aria-label="([LC])\*.*?</svg>`).FindAllStringSubmatch(page, -1)
	if len(axes) != 4 {
		t.Fatalf("%d drawings", len(axes))
	}
	for _, a := range axes {
		if beyond := strings.Contains(a[0], ">120<"); beyond || strings.Contains(a[0], ">100<") == false {
			t.Errorf("%s*: ends elsewhere than at 100: %s", a[1], a[0][:200])
		}
	}
}

// A comparison's page names the rounds, and its pictures say that they are sRGB.
func TestDiffPageSays(t *testing.T) {
	page := pageText(t, func(b *bytes.Buffer) error { d, v := diffOf(300, 200); return WriteDiff(b, d, v) })
	text := words(page)
	for _, want := range []string{"wall: round 2 and salt-road.recipe", "mark abababababab", "above 1: 0.24 %, above 3: over 99.9 %"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page doesn't say %q", want)
		}
	}
	for _, not := range []string{"first", "second"} {
		if strings.Contains(text, not) {
			t.Errorf("the page says %q", not)
		}
	}
	for _, m := range regexp.MustCompile(`data:image/png;base64,([A-Za-z0-9+/=]+)`).FindAllStringSubmatch(html.UnescapeString(page), -1) {
		if b, err := base64.StdEncoding.DecodeString(m[1]); err != nil || string(b[headEnd+4:headEnd+8]) != "sRGB" {
			t.Fatalf("a picture doesn't say its space: %v", err)
		}
	}
	b, err := tagged(Opaque(slope(3, 2)), nil)
	if err != nil {
		t.Fatal(err)
	}
	if m, err := png.Decode(bytes.NewReader(b)); err != nil || m.Bounds().Dx() != 3 || string(b[headEnd+4:headEnd+8]) != "sRGB" {
		t.Errorf("%v", err)
	}
}

// The page of a look says where finds lie, how they are mended, and how many
// there are; links lead from each to the next and back.
func TestInspectPageSays(t *testing.T) {
	page := pageText(t, func(b *bytes.Buffer) error { return WriteInspect(b, lookOf(300, 200, 7)) })
	text := words(page)
	for _, want := range []string{"What is seen in salt-road.recipe", "3000 x 2000 px, the master · as seen on print wall, 60 x 40 in, from 1.8 m", "The 7 most visible of 12 finds",
		"2: dust at 22.7%, 48.1%", "seen 6.0; 9 px across, 20 % darker spot at (22.7%, 48.1%) radius 0.12% next, 3 before, 1", "and 140 more like these", "noise: 0.45 %"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page doesn't say %q", want)
		}
	}
	ids := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]+)"`).FindAllStringSubmatch(page, -1) {
		ids[m[1]] = true
	}
	links := regexp.MustCompile(` href="#([^"]+)"`).FindAllStringSubmatch(page, -1)
	for _, m := range links {
		if !ids[m[1]] {
			t.Errorf("a link leads to %s, which isn't there", m[1])
		}
	}
	// From the map 7, to the next and to the one before 6 each, to the map 7.
	if len(links) != 26 || strings.Contains(page, "<script") || regexp.MustCompile(`(src|href)="https?:`).MatchString(page) {
		t.Errorf("%d links, or something from elsewhere", len(links))
	}
	if text := words(pageText(t, func(b *bytes.Buffer) error { p := lookOf(300, 200, 0); p.Open = 0; return WriteInspect(b, p) })); !strings.Contains(text, "Nothing is seen that isn't mended or dismissed") {
		t.Error(text)
	}
}

// Every grey of the style has equal red, green and blue, in both schemes, and
// where a screen shows it is darker than any paper's white, L* 90 at least: code
// 226 (sRGB, IEC 61966-2-1).
func TestGreysAreNeutral(t *testing.T) {
	css := string(style())
	screen, _, _ := strings.Cut(css, "@media print")
	all := regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b`).FindAllString(css, -1)
	if len(all) < 15 || regexp.MustCompile(`rgb|hsl|: *(white|silver|gr[ae]y|navy)\b`).MatchString(regexp.MustCompile(`(?s)/\*.*?\*/`).ReplaceAllString(css, "")) {
		t.Errorf("%d colours, or colours by other words", len(all))
	}
	for _, c := range all {
		if len(c) != 7 || c[1:3] != c[3:5] || c[3:5] != c[5:7] {
			t.Errorf("%s isn't a neutral grey of six digits", c)
		}
		if strings.Contains(screen, c) && strings.ToLower(c[1:3]) >= "e2" {
			t.Errorf("%s is as bright as paper", c)
		}
	}
}
