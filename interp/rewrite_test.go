package interp

import (
	"bytes"
	"context"
	"math/big"
	"strings"
	"sync"
	"testing"

	"platemark/interp/disk"
	"platemark/interp/plan"
	"platemark/ops"
	"platemark/ops/colour"
)

// meddling is a context that edits a file while a command asks it whether to go
// on.
type meddling struct {
	context.Context
	once *sync.Once
	edit func()
}

func (m meddling) Err() error { m.once.Do(m.edit); return nil }

// An edit that is saved while the inputs are hashed stays, in every command that
// writes into a recipe.
func TestEditsMeanwhileStay(t *testing.T) {
	for name, act := range map[string]func(ctx context.Context, file string) error{
		"pin": func(ctx context.Context, file string) error { _, err := Pin(ctx, file, nil); return err },
		"fit": func(ctx context.Context, file string) error {
			j, err := Load(ctx, file, LoadOptions{})
			if err != nil {
				return err
			}
			defer j.Close()
			return disk.Rewrite(j.File, j.Source, bytes.Replace(j.Source, []byte("small"), []byte("fitted"), 1))
		},
	} {
		_, file := smallJob(t, tiny)
		edited := tiny + "# an edit\n"
		ctx := meddling{context.Background(), &sync.Once{}, func() { write(t, file, edited) }}
		if err := act(ctx, file); err == nil || !strings.Contains(err.Error(), "changed meanwhile") {
			t.Errorf("%s: %v", name, err)
		}
		if string(read(t, file)) != edited {
			t.Errorf("%s: the edit was lost", name)
		}
	}
}

// The room of a file is one figure for plan, order and build: a small JPEG isn't
// charged a megabyte that it never needs, and noise has room at the highest
// quality (1.32 bytes a sample, measured).
func TestRoom(t *testing.T) {
	space, _ := colour.Space("sRGB")
	p := ops.Pic{W: 1000, H: 500, C: 3, Profile: space}
	for _, c := range []struct {
		f        plan.FileSpec
		from, to int64 // of the likely size
		most     int64 // at least
	}{
		{plan.FileSpec{Format: "jpeg", Quality: 90, Profile: space}, 110_000, 125_000, 1_980_000},
		{plan.FileSpec{Format: "jpeg", Quality: 90, Profile: space, LargestBytes: 100_000}, 100_000, 100_000, 100_000},
		{plan.FileSpec{Format: "tiff", Bits: 16, Profile: space, PPI: big.NewRat(100, 1)}, 3_000_000, 3_010_000, 3_000_000},
	} {
		likely, most := c.f.Room(p)
		if likely < c.from || likely > c.to || most < c.most || most < likely || c.f.Format == "tiff" && most != likely {
			t.Errorf("%s: %d, at most %d", c.f.Format, likely, most)
		}
	}
}
