//go:build outside

package browsers

import (
	"slices"
	"strings"
	"testing"

	"platemark/interp/interptest"
)

// The walk shows every place of the print at 100 %, remembers what was seen over
// a killed run, goes on where it stopped, and comes to an end; a spot makes unseen
// what lies near it alone.
func TestWalk(t *testing.T) {
	d := served(t, newChromium(t), shore, 1440, 900)
	left := func() (n int) {
		d.eval(t, `+(document.querySelector("#walked").innerText.match(/(\d+) screens? left/) ?? [0, 0])[1]`, &n)
		return n
	}
	d.keys("w")
	d.wait(`document.querySelector("#walked").innerText.includes("Walked 0 %% at 100 %%")`)
	// 3600 x 2400 px in places that overlap by 8 % of the view.
	var view []float64
	d.eval(t, `(() => { const r = document.querySelector("#view").getBoundingClientRect(); return [r.width, r.height]; })()`, &view)
	along := func(size, seen float64) (n int) {
		for n = 1; float64(n-1)*seen*0.92 < size-seen; n++ {
		}
		return n
	}
	all := along(3600, view[0]) * along(2400, view[1])
	if left() != all {
		t.Fatalf("%d screens are left of %d", left(), all)
	}
	var places []string
	for n := all; n > all/2; n-- {
		d.ready()
		places = append(places, d.value(`document.querySelector("#view").dataset.place`))
		d.keys("Space")
		d.wait(`+(document.querySelector("#walked").innerText.match(/(\d+) screens? left/) ?? [0, 0])[1] === %d`, n-1)
	}
	d.key(t, "Space", "Shift")
	d.wait(`document.querySelector("#view").dataset.place === %q`, places[len(places)-1])
	d.process.Process.Kill()
	d.process.Wait()
	d.serve(1440, 900)
	d.keys("w")
	d.wait(`document.querySelector("#walked").innerText.includes(" screen")`)
	if left() != all/2 {
		t.Errorf("another day %d screens are left, not %d", left(), all/2)
	}
	if n := d.value(`"" + document.querySelectorAll("#unseen mask rect").length`); n == "1" {
		t.Error("what was seen is hatched")
	}
	for n := all / 2; n > 0; n-- {
		d.ready()
		places = append(places, d.value(`document.querySelector("#view").dataset.place`))
		d.keys("Space")
		d.wait(`+(document.querySelector("#walked").innerText.match(/(\d+) screens? left/) ?? [0, 0])[1] === %d`, n-1)
	}
	d.wait(`document.querySelector("#walked").innerText.includes("Walked all of it")`)
	slices.Sort(places)
	if n := len(slices.Compact(places)); n != all {
		t.Errorf("%d places were shown of %d", n, all)
	}
	d.keys("s")
	d.drag(t, [2]float64{900, 400})
	d.has(`spot at`)
	d.wait(`document.querySelector("#walked").innerText.includes("1 screen left") || document.querySelector("#walked").innerText.includes("2 screens left")`)
	d.key(t, "z", "Control")
	d.wait(`document.querySelector("#text").value === %q`, shore)
}

// A find is dismissed, as the command would; a section is drawn for a sheet.
func TestDismissAndSection(t *testing.T) {
	d := served(t, newChromium(t), shore+"\npaper rag {\n    profile \"rag.icc\"\n}\n", 820, 1180)
	interptest.Write(t, strings.Replace(d.path, "shore.recipe", "rag.icc", 1), string(interptest.Read(t, "../../../../testdata/standards/profiles/rgbprint_v4.icc")))
	d.wait(`document.querySelector("#kept").innerText === "as saved"`)
	d.keys("i")
	d.wait(`document.querySelector("#doing").innerText.includes("find 1 of 5")`)
	d.keys("o")
	d.wait(`document.querySelector("#doing").innerText.includes("find 1 of 5 in the finished print")`)
	d.wait(`document.querySelector("#name").innerText.startsWith("without its line")`)
	d.keys("o")
	d.wait(`document.querySelector("#doing").innerText.includes("find 1 of 5:")`)
	d.keys("n", "n", "p", "d")
	d.wait(`document.querySelector("#doing").innerText.includes("of 4")`)
	d.keys("Escape", "f")
	if n := strings.Count(string(interptest.Read(t, d.path+".dismissed.jsonl")), `"dismissed"`); n != 1 {
		t.Errorf("%d are dismissed", n)
	}
	if out := d.run("inspect", d.path); !strings.Contains(out, "besides: 1 dismissed") {
		t.Errorf("the command says\n%s", out)
	}
	d.keys("n")
	d.hand([2]float64{0.25, 0.25}, [2]float64{0.4, 0.4}, [2]float64{0.75, 0.5})
	d.has(`sheet proofs-1 on rag \{\n    size 19 in x 13 in at 300 ppi\n    section of wall at \((50|49.9\d|50.0\d)%, (37|38).*%\) size (5.9\d|6) in x (1.9\d|2.0\d|2) in\n`)
	d.wait(`document.querySelectorAll("#marks .handle").length === 1`)
	d.key(t, "s", "Control")
	d.kept("as saved")
	d.run("build", d.path, "--print", "proofs-1")
}

// What was typed before the server was killed comes back with the next one, but for
// what was on its way; the file stays as it was.
func TestKilledWhileTyping(t *testing.T) {
	d := served(t, newChromium(t), shore, 1000, 800)
	const typed = "# and a long remark, letter by letter, until it is cut"
	half := len(typed) / 2
	d.write("bits 8", 0, "  "+typed[:half])
	d.process.Process.Kill()
	d.process.Wait()
	d.write(typed[:half], 0, typed[half:])
	d.wait(`document.querySelector("#doing").innerText.includes("comes back when view is started again")`)
	if got := d.text(); got != strings.Replace(shore, "bits 8", "bits 8  "+typed, 1) {
		t.Errorf("the page lost letters:\n%s", got)
	}
	if string(interptest.Read(t, d.path)) != shore {
		t.Error("the file was written")
	}
	d.serve(1000, 800)
	d.kept("taken up from last time")
	before, after, _ := strings.Cut(shore, "bits 8")
	back := strings.TrimSuffix(strings.TrimPrefix(d.text(), before+"bits 8"), after)
	if !strings.HasPrefix("  "+typed[:half], back) || len(back) < half/2 {
		t.Errorf("%q came back", back)
	}
	t.Logf("%d letters of %d came back", len(back), half+2)
	d.key(t, "s", "Control")
	d.kept("as saved")
	if got := string(interptest.Read(t, d.path)); got != before+"bits 8"+back+after {
		t.Errorf("saved:\n%s", got)
	}
}
