//go:build outside

package browsers

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/interptest"
)

// axe-core (Deque, MPL 2.0), which .ci/run fetches, finds nothing against the page
// in any state: it tests the rules of WCAG 2.2 that a program can test.
func TestNoBarriers(t *testing.T) {
	file := os.Getenv("PLATEMARK_AXE")
	if file == "" {
		t.Skip("axe-core isn't there, so nothing was tested: PLATEMARK_AXE says where its axe.min.js lies, as .ci/run sets it")
	}
	axe := string(interptest.Read(t, file))
	d := served(t, newChromium(t), shore+"\npaper rag {\n    profile \"rag.icc\"\n}\n", 1440, 900)
	folder := filepath.Dir(d.path)
	interptest.Write(t, filepath.Join(folder, "rag.icc"), string(interptest.Read(t, "../../../../testdata/standards/profiles/rgbprint_v4.icc")))
	interptest.Write(t, filepath.Join(folder, "other.recipe"), strings.Replace(string(interptest.Read(t, d.path)), "amount 120%", "amount 60%", 1))
	d.wait(`document.querySelector("#wrong").innerText === ""`)
	look := func() (found struct {
		Version string
		Passes  int
		Faults  []string
	}) {
		t.Helper()
		var n int
		d.eval(t, "typeof axe === 'undefined' ? 0 : 1", &n)
		if n == 0 {
			d.eval(t, axe+";0", &n)
		}
		d.eval(t, `axe.run(document).then((r) => ({ version: r.testEngine.version, passes: r.passes.length, faults: r.violations.map((v) => v.id + ": " + v.help + ": " + v.nodes.map((n) => n.html).join(" | ")) }))`, &found)
		return found
	}
	check := func(state string) {
		t.Helper()
		found := look()
		if found.Passes < 10 {
			t.Errorf("%s: only %d rules were looked at", state, found.Passes)
		}
		for _, f := range found.Faults {
			t.Errorf("%s: %s", state, f)
		}
		t.Logf("%s: axe-core %s, %d rules pass", state, found.Version, found.Passes)
	}
	check("fitted")
	d.keys("1", "g")
	d.ready()
	check("at 100 %")
	d.keys("p")
	d.drag(t, [2]float64{700, 300})
	d.drag(t, [2]float64{900, 350})
	check("while a polygon is drawn")
	d.keys("Escape", "Escape", "i")
	d.wait(`document.querySelector("#name").innerText.startsWith("without its line")`)
	check("at a find")
	d.keys("l")
	d.ready()
	check("with the fold")
	d.keys("Escape", "w")
	d.wait(`document.querySelector("#walked").innerText.includes("screens left")`)
	check("on a walk")
	d.write("amount 120%", 1, "")
	d.wait(`document.querySelector("#mend").innerText.includes("120%%")`)
	check("with a mistake in the text")
	d.write("amount 120", 0, "% q")
	d.eval(t, `document.querySelector("#text").focus()`, nil)
	d.key(t, "u")
	d.wait(`!document.querySelector("#offers").hidden`)
	check("while a word is offered")
	d.write("amount 120% qu", 3, "")
	d.wait(`document.querySelector("#wrong").innerText === ""`)
	choose := func(value string) {
		t.Helper()
		d.eval(t, `document.querySelector("#with").focus()`, nil)
		d.wait(`[...document.querySelector("#with").options].some((o) => o.value === %q)`, value)
		d.eval(t, fmt.Sprintf(`{ const s = document.querySelector("#with"); s.value = %q; s.dispatchEvent(new Event("change")); }`, value), nil)
	}
	choose("print wall of other.recipe")
	d.wait(`document.querySelector("#name").innerText.startsWith("left print wall of other.recipe")`)
	d.keys("h")
	d.wait(`document.querySelector("#twin").dataset.ready`)
	check("with two beside each other")
	d.keys("x")
	d.wait(`document.querySelector("#view").dataset.difference`)
	check("with their difference")
	d.keys("r", "m")
	d.wait(`document.querySelector("#name").innerText.includes("as rag shows it") && document.querySelector("#view").dataset.difference`)
	check("with their difference on paper")
	choose("paper rag")
	d.wait(`document.querySelector("#note").innerText`)
	check("with a note on what it is compared with")
	d.write("bits 8", 0, "  # dry")
	d.kept("not saved yet")
	interptest.Write(t, d.path, strings.Replace(shore, "12 in x 8 in", "15 in x 10 in", 1))
	d.wait(`!document.querySelector("#clash").hidden`)
	check("with a file that was changed elsewhere")
	d.eval(t, `document.querySelector("#text").removeAttribute("aria-label")`, nil)
	if found := look(); len(found.Faults) == 0 {
		t.Error("a text field without a name isn't found")
	}
}
