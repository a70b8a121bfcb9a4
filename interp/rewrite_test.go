package interp

import (
	"bytes"
	"context"
	"strings"
	"sync"
	"testing"

	"platemark/interp/disk"
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
		"pin": func(ctx context.Context, file string) error { _, _, err := Pin(ctx, file, nil, nil); return err },
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
