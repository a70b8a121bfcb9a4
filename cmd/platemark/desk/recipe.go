package desk

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"sync"
	"time"

	"platemark/cmd/platemark/lsp"
	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/lang"
)

// recipe is an open recipe: the text as the page has it, and the file.
type recipe struct {
	path string
	keep string // the file for what isn't saved, "" for none

	mu       sync.Mutex
	version  int // counts texts
	past     [][]byte
	at       int // of the text in past
	typing   time.Time
	disk     []byte // as the file was read or saved last
	gone     bool   // there is no file now
	other    []byte // what the file holds now, where that is another and ours isn't saved
	clash    bool
	restored bool // the text is from a run that was cut off
	reading  *reading
}

// Errors that the page has answers for.
var (
	errStale = errors.New("the text has moved on: another window wrote in it")
	errClash = errors.New("the file was changed elsewhere meanwhile, and nothing was written over it")
)

// mostPast bounds what undo goes back to, in texts and bytes.
const (
	mostPast  = 500
	pastBytes = 32 << 20
)

func openRecipe(path, keep string) (*recipe, error) {
	b, err := interp.ReadRecipe(path)
	if err != nil {
		return nil, err
	}
	r := &recipe{path: path, keep: keep, disk: b, past: [][]byte{b}, version: 1}
	return r, r.restore()
}

func (r *recipe) text() []byte { return r.past[r.at] }

func (r *recipe) saved() bool { return !r.gone && bytes.Equal(r.text(), r.disk) }

// push makes a text the present one. Letters typed one after the other are one
// change.
func (r *recipe) push(text []byte, typed bool) {
	if bytes.Equal(text, r.text()) {
		return
	}
	now := time.Now()
	if typed && now.Sub(r.typing) < time.Second && r.at == len(r.past)-1 && r.at > 0 {
		r.past[r.at] = text
	} else {
		r.past = append(r.past[:r.at+1], text)
		r.at++
	}
	r.typing = time.Time{}
	if typed {
		r.typing = now
	}
	size := 0
	for i := len(r.past) - 1; i >= 0; i-- {
		if size += len(r.past[i]); i < r.at && (size > pastBytes || len(r.past)-i > mostPast) {
			r.past, r.at = r.past[i+1:], r.at-i-1
			break
		}
	}
	r.changed()
}

func (r *recipe) changed() {
	r.version++
	r.reading = nil
}

// change applies changes to the text of that version, each to what the one
// before it left. typed says that they are letters that someone types.
func (r *recipe) change(version int, typed bool, changes ...lsp.Change) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if version != r.version {
		return errStale
	}
	text := r.text()
	src, _ := lang.ReadSource("", text)
	for _, c := range changes {
		if c.Range == nil {
			return errors.New("a change says which place it is of")
		}
		c.Text = strings.ReplaceAll(c.Text, "\n", src.EOL())
		text = lsp.NewText(r.path, text).Apply(c)
	}
	if len(text) > lang.MaxSource {
		return errors.New("this would be too long for a recipe, which has at most 4 MiB")
	}
	typed = typed && len(changes) == 1 && len(changes[0].Text) < 2
	r.push(text, typed)
	return nil
}

// move goes a change back or on.
func (r *recipe) move(by int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if to := r.at + by; to >= 0 && to < len(r.past) {
		r.at, r.typing = to, time.Time{}
		r.changed()
	}
}

// look reads the file. A text that was saved follows it; one that wasn't stays,
// and both are offered. It says whether something became another.
func (r *recipe) look() (news bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	now, err := interp.ReadRecipe(r.path)
	gone := errors.Is(err, fs.ErrNotExist)
	if err != nil && !gone {
		return false // perhaps half written; it is looked at again
	}
	was := []any{r.gone, r.clash, audit.SumOf(r.other), r.version}
	switch {
	case gone:
		r.gone, r.clash, r.other = true, false, nil
	case audit.SumOf(now) == audit.SumOf(r.disk):
		r.gone, r.clash, r.other = false, false, nil
	case r.saved() || bytes.Equal(now, r.text()):
		r.gone, r.clash, r.other, r.disk = false, false, nil, now
		r.push(now, false)
	default:
		r.gone, r.clash, r.other = false, true, now
	}
	return fmt.Sprint(was...) != fmt.Sprint(r.gone, r.clash, audit.SumOf(r.other), r.version)
}

// save brings the text to the disk, if the file there is the one that was read.
func (r *recipe) save() error {
	r.look()
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.write()
}

func (r *recipe) write() error {
	text := r.text()
	var err error
	switch {
	case r.clash:
		return errClash
	case r.gone:
		err = disk.Write(r.path, text, false)
	default:
		err = disk.Rewrite(r.path, r.disk, text)
	}
	if err != nil {
		return err
	}
	r.disk, r.gone, r.restored = text, false, false
	return nil
}

// settle ends a clash: with the file's text, which seen is the digest of, or by
// writing ours over it. Undo has the other one.
func (r *recipe) settle(mine bool, seen string) error {
	r.look()
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.clash || audit.SumOf(r.other) != seen {
		return errClash
	}
	text := r.text()
	r.push(r.other, false)
	r.disk, r.other, r.clash = r.other, nil, false
	if !mine {
		return nil
	}
	r.push(text, false)
	return r.write()
}
