package view

import (
	"bytes"
	"image/jpeg"
	"math/big"
	"strings"
	"testing"

	"platemark/interp/audit"
	"platemark/interp/plan"
	"platemark/interp/register"
	"platemark/ops/colour"
)

// certificateOf is an invented certificate.
func certificateOf() *register.Certificate {
	m := slope(90, 60)
	size := func(w, h int) plan.Extent { return plan.Extent{W: w, H: h, PPI: big.NewRat(300, 1)} }
	l := &audit.Log{File: audit.FileRecord{Mark: strings.Repeat("ab", 32), SHA256: strings.Repeat("cd", 32)}, Run: audit.RunRecord{Run: audit.Run{Began: "2026-11-25T23:30:00Z"}}}
	return &register.Certificate{Log: l, Title: "Straße & <Été>", Sizes: plan.Sizes{Picture: size(18000, 12000), Face: size(18600, 12600), Whole: size(18600, 12600)},
		Entry: &register.Entry{Link: audit.Link{At: "2026-11-27T10:00:00Z"}, Copies: 10, Proofs: 2, Copy: 3, State: "I"},
		Head:  "5:" + strings.Repeat("ef", 32), Paper: "cotton rag", Key: "SHA256:abc", Picture: &m}
}

func TestCertificate(t *testing.T) {
	page, file, missing, err := WriteCertificate(certificateOf())
	if err != nil || missing != "" {
		t.Fatal(missing, err)
	}
	for _, want := range []string{"<h1>Straße &amp; &lt;Été&gt;</h1>", "Copy 3 of 10, beside 2 proofs", "60 × 40 in (152.4 × 101.6 cm)", "62 × 42 in (157.5 × 106.7 cm)",
		"27 November 2026", "25 November 2026", "cotton rag", strings.Repeat("ab", 32), strings.Repeat("cd", 32), "5:" + strings.Repeat("ef", 32), "the 5 entries", "SHA256:abc", `class="bordered"`} {
		if !bytes.Contains(page, []byte(want)) {
			t.Errorf("the page lacks %s", want)
		}
	}
	if bytes.Contains(page, []byte("<script")) || bytes.Contains(page, []byte("http")) {
		t.Error("the page has a script or an address")
	}
	again, same, _, err := WriteCertificate(certificateOf())
	if err != nil || !bytes.Equal(page, again) || !bytes.Equal(file, same) {
		t.Errorf("two runs gave two files: %v", err)
	}
	// The number in words, and what isn't said.
	for _, c := range []struct {
		change       func(c *register.Certificate)
		want, absent string
	}{
		{func(c *register.Certificate) { c.Entry.Proofs = 0 }, "Copy 3 of 10<", "beside"},
		{func(c *register.Certificate) { c.Entry.Proofs = 1 }, "Copy 3 of 10, beside one proof<", ""},
		{func(c *register.Certificate) { c.Entry.Copy, c.Entry.Proof = 0, 1 }, "Proof 1 of 2, beside an edition of 10<", ""},
		{func(c *register.Certificate) { c.Entry.State = "II" }, ", state II<", ""},
		{func(c *register.Certificate) { c.Entry, c.Head = nil, "" }, "Copies of this print are not numbered", "Register"},
		{func(c *register.Certificate) { c.Key, c.Paper = "", "" }, "Digest", "Signed"},
		{func(c *register.Certificate) { c.Sizes.Face = c.Sizes.Picture }, "60 × 40 in", "With its border"},
		{func(c *register.Certificate) { c.Head = "1:" + c.Head[2:] }, "the entry that it had", ""},
	} {
		k := certificateOf()
		c.change(k)
		page, _, _, err := WriteCertificate(k)
		if err != nil || !bytes.Contains(page, []byte(c.want)) || c.absent != "" && bytes.Contains(page, []byte(c.absent)) {
			t.Errorf("expected %q and no %q: %v", c.want, c.absent, err)
		}
	}
	k := certificateOf()
	k.Title = "日本"
	if _, _, missing, err := WriteCertificate(k); err != nil || missing != "日本" {
		t.Errorf("missing %q, %v", missing, err)
	}
}

// The small picture keeps its colours through the file: read by Go's decoder.
func TestCertificatePicture(t *testing.T) {
	m := slope(90, 61)
	icc, _ := colour.Space("sRGB")
	b, err := jpegOf(&m, icc.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	img, err := jpeg.Decode(bytes.NewReader(b))
	if err != nil || img.Bounds().Dx() != 90 || img.Bounds().Dy() != 61 {
		t.Fatal(img.Bounds(), err)
	}
	for _, at := range [][2]int{{5, 5}, {80, 50}, {40, 60}} {
		r, g, _, _ := img.At(at[0], at[1]).RGBA()
		i := 3 * (at[1]*90 + at[0])
		if d := int(r>>8) - int(m.RGB[i]); d < -6 || d > 6 {
			t.Errorf("red at %v is off by %d", at, d)
		}
		if d := int(g>>8) - int(m.RGB[i+1]); d < -6 || d > 6 {
			t.Errorf("green at %v is off by %d", at, d)
		}
	}
}
