package paper

import (
	"crypto/sha256"
	"fmt"
	"math/rand"
	"testing"
	"time"

	"platemark/ops/colour"
)

func TestPapers(t *testing.T) {
	// The bytes are frozen: recipes pin them, and proofs' figures hang on them.
	want := map[string]string{
		"baryta": "34324040dc838e0015bc9697b74c8689014c3600e7e52827e08469d3539ce81b",
		"rag":    "1755718d05f5e5d231d28db8c9c2578840ac28a77381a8dda5968eef39de7c4e",
	}
	for i, name := range Names() {
		start := time.Now()
		icc, ok := Profile(name)
		took := time.Since(start)
		if !ok || len(icc) > 300_000 {
			t.Fatalf("%s: %v, %d bytes", name, ok, len(icc))
		}
		if got := fmt.Sprintf("%x", sha256.Sum256(icc)); got != want[name] {
			t.Errorf("%s: digest %s, frozen %s", name, got, want[name])
		}
		p, err := colour.Parse(icc)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		s := &stocks[i]
		k := newInk(s)
		if p.Description() != s.text || p.Channels() != 3 || p.Class() != "output" {
			t.Errorf("%s: %q, %d channels, %s", name, p.Description(), p.Channels(), p.Class())
		}
		there, _ := colour.NewToLab(p, colour.Relative)
		bare, _ := colour.NewToLab(p, colour.Absolute)
		back, err := colour.NewFromLab(p, colour.Relative)
		if err != nil {
			t.Fatal(err)
		}
		// White, black and solids as invented.
		for j, c := range s.solids {
			codes := [3]uint16{65535, 65535, 65535}
			for b := range 3 {
				if j>>b&1 == 1 {
					codes[b] = 0
				}
			}
			var got [1]colour.Lab
			bare.Row(got[:], codes[:])
			if d := colour.DeltaE2000(got[0], c); d > 0.05 {
				t.Errorf("%s solid %d: %.3f, invented %.3f", name, j, got[0], c)
			}
		}
		// The table against the model, and back by the other table.
		rng := rand.New(rand.NewSource(1))
		var model, trip, worst float64
		const n = 3000
		for range n {
			var d [3]float64
			var codes, again [3]uint16
			for b := range d {
				codes[b] = uint16(rng.Intn(65536))
				d[b] = float64(codes[b]) / 65535
			}
			var got, came [1]colour.Lab
			there.Row(got[:], codes[:])
			e := colour.DeltaE2000(got[0], k.lab(d))
			model += e / n
			back.Row(again[:], got[:])
			there.Row(came[:], again[:])
			e = colour.DeltaE2000(got[0], came[0])
			trip += e / n
			worst = max(worst, e)
		}
		if model > 0.15 || trip > 0.7 || worst > 6 {
			t.Errorf("%s: the table is %.3f from the model, there and back %.3f, at most %.2f", name, model, trip, worst)
		}
		t.Logf("%s: %d bytes in %v; from the model %.3f; there and back mean %.3f, largest %.2f", name, len(icc), took, model, trip, worst)
		// Greys: even steps of codes are even steps of lightness, never falling.
		last := -1.0
		for g := range 256 {
			var got [1]colour.Lab
			c := uint16(g * 257)
			there.Row(got[:], []uint16{c, c, c})
			if got[0].L <= last {
				t.Errorf("%s: grey %d is as dark as the one before", name, g)
			}
			last = got[0].L
		}
		var codes [3]uint16
		back.Row(codes[:], []colour.Lab{{L: 100}})
		for _, v := range codes {
			if v < 65400 {
				t.Errorf("%s: white comes to %v", name, codes)
			}
		}
	}
	if _, ok := Profile("glass"); ok {
		t.Error("glass was made")
	}
}
