//go:build outside

package view

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Other programs read the PDF: it is sound, one page of A4, its type is
// embedded, and its words and numbers can be copied out of it.
func TestOthersReadCertificates(t *testing.T) {
	for name, title := range map[string]string{"short": "Straße & <Été>", "long": strings.Repeat("A long title of a picture from the salt road ", 9)} {
		c := certificateOf()
		c.Title = title
		page, file, _, err := WriteCertificate(c)
		if err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		path, html, printed := filepath.Join(dir, "c.pdf"), filepath.Join(dir, "c.html"), filepath.Join(dir, "p.pdf")
		for p, b := range map[string][]byte{path: file, html: page} {
			if err := os.WriteFile(p, b, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		run := func(program string, args ...string) string {
			t.Helper()
			out, err := exec.Command(program, args...).CombinedOutput()
			if err != nil {
				t.Fatalf("%s: %v\n%s", program, err, out)
			}
			return string(out)
		}
		if out := run("qpdf", "--check", path); !strings.Contains(out, "No syntax or stream encoding errors found") {
			t.Error(out)
		}
		if out := run("pdfinfo", path); !strings.Contains(out, "Pages:           1\n") || !strings.Contains(out, "(A4)") {
			t.Error(out)
		}
		if out := run("pdffonts", path); strings.Count(out, "yes yes yes") != 3 {
			t.Error(out)
		}
		// The last line of text lies above the line to sign on.
		words := run("pdftotext", "-layout", path, "-")
		for _, want := range []string{"Copy 3 of 10", strings.Repeat("ab", 32), "5:" + strings.Repeat("ef", 32), "keep the page with it.", strings.Fields(title)[0]} {
			if !strings.Contains(words, want) {
				t.Errorf("%s: the text lacks %s:\n%s", name, want, words)
			}
		}
		if i, k := strings.Index(words, "keep the page with it."), strings.Index(words, "By hand"); i > k {
			t.Errorf("%s: the words run into the line to sign on", name)
		}
		run("chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", "--print-to-pdf="+printed, "file://"+html)
		if out := run("pdfinfo", printed); name == "short" && !strings.Contains(out, "Pages:           1\n") {
			t.Errorf("the page of HTML is printed on more than one: %s", out)
		}
	}
}
