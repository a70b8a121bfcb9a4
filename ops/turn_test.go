package ops

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func turnStep(t testing.TB, p Pic, o int) *TurnStep {
	t.Helper()
	s, err := TurnV1.New(Args{{"orientation", fmt.Sprint(o)}}, []Pic{p}, Env{})
	if err != nil {
		t.Fatal(err)
	}
	return s.(*TurnStep)
}

func turned(t *testing.T, p *plane, o int) *plane {
	t.Helper()
	if o == 1 {
		return p
	}
	s := turnStep(t, p.pic, o)
	return &plane{pic: s.Pic(), data: checkOrders(t, s, p)}
}

func TestEveryOrientationStandsUpright(t *testing.T) {
	// The picture abcd over efgh, stored in each of the eight ways. Source:
	// TIFF 6.0, tag 274: where the stored row 0 and column 0 stand (right for
	// row 0 and top for column 0 in 6, and so on); the layouts below were
	// written down by hand from its table.
	for o, stored := range map[int]string{
		1: "abcd efgh",   // row 0 top, column 0 left
		2: "dcba hgfe",   // top, right
		3: "hgfe dcba",   // bottom, right
		4: "efgh abcd",   // bottom, left
		5: "ae bf cg dh", // left, top
		6: "dh cg bf ae", // right, top
		7: "hd gc fb ea", // right, bottom
		8: "ea fb gc hd", // left, bottom
	} {
		for _, c := range []int{1, 3} {
			lines := strings.Fields(stored)
			p := &plane{pic: Pic{W: len(lines[0]), H: len(lines), C: c}}
			for _, r := range strings.Join(lines, "") {
				for k := range c {
					p.data = append(p.data, uint16(r)*256+uint16(k))
				}
			}
			got := turned(t, p, o)
			text := ""
			for i := 0; i < len(got.data); i += c {
				text += string(rune(got.data[i] / 256))
				if got.data[i+c-1]%256 != uint16(c-1) {
					t.Errorf("orientation %d: channels are mixed up", o)
				}
			}
			if got.pic.W != 4 || text != "abcdefgh" {
				t.Errorf("orientation %d, %d channels: %d wide, %s", o, c, got.pic.W, text)
			}
		}
	}
}

func TestTurnThereAndBack(t *testing.T) {
	back := [9]int{0, 1, 2, 3, 4, 5, 8, 7, 6}
	rng := rand.New(rand.NewPCG(13, 14))
	for _, size := range [][2]int{{1, 1}, {1, 9}, {70, 1}, {37, 81}, {100, 33}, {300, 7}} {
		for _, c := range []int{1, 3, 4} {
			p := noise(rng, Pic{W: size[0], H: size[1], C: c})
			for o := 1; o <= 8; o++ {
				if got := turned(t, turned(t, p, o), back[o]); got.pic != p.pic || !slices.Equal(got.data, p.data) {
					t.Fatalf("%v, %d channels, orientation %d there and %d back differs", size, c, o, back[o])
				}
			}
		}
	}
}

// A quarter turn asks for each sample of its input once, by parts of rows.
func TestTurnReadsEachSampleOnce(t *testing.T) {
	p := gradient16(500, 20, 3)
	s := turnStep(t, p.pic, 6)
	if !s.NeedsWhole() {
		t.Error("a quarter turn doesn't ask for the whole input")
	}
	n := &counted{plane: p}
	p.lo, p.hi = s.Window(0, 0)
	w := s.Worker()
	dst := make([]uint16, s.Pic().Stride())
	for y := range s.Pic().H {
		w.Row(dst, y, []Rows{n})
	}
	if want := len(p.data); n.samples != want {
		t.Errorf("%d samples read, want %d", n.samples, want)
	}
}

type counted struct {
	*plane
	samples int
}

func (c *counted) Part(y, from, till int) []uint16 {
	c.samples += till - from
	return c.Row(y)[from:till]
}

func TestTurnRefuses(t *testing.T) {
	p := Pic{W: 9, H: 7, C: 3}
	for _, v := range []string{"1", "9", "-3", "x", "5/2"} {
		if _, err := TurnV1.New(Args{{"orientation", v}}, []Pic{p}, Env{}); err == nil || !strings.Contains(err.Error(), "turn") {
			t.Errorf("orientation %s: %v", v, err)
		}
	}
	if _, err := TurnV1.New(nil, []Pic{p}, Env{}); err == nil {
		t.Error("a turn without orientation was accepted")
	}
	if _, err := TurnV1.New(Args{{"orientation", "3"}}, []Pic{{}}, Env{}); err == nil {
		t.Error("an empty picture was accepted")
	}
	if TurnOrientation("up") != 0 {
		t.Error("turn up has an orientation")
	}
}

func BenchmarkTurn(b *testing.B) {
	p := gradient16(6000, 4000, 3)
	p.hi = 4000
	s := turnStep(b, p.pic, 6)
	dst := make([]uint16, s.Pic().Stride())
	for b.Loop() {
		w := s.Worker()
		for y := range s.Pic().H {
			w.Row(dst, y, []Rows{p})
		}
	}
}
