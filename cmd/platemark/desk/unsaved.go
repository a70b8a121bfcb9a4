package desk

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/lang"
)

// unsaved is what was typed and not saved, kept in a file so that it outlives
// the run.
type unsaved struct {
	Recipe string `json:"recipe"` // where it stands
	Was    string `json:"was"`    // the digest of the file that it was typed into
	Text   []byte `json:"text"`
}

// keepFile is where what isn't saved of a recipe is kept: in a folder of the
// user's, so that nothing appears beside the recipe.
func keepFile(folder, path string) string {
	sum := sha256.Sum256([]byte(disk.Real(path)))
	return filepath.Join(folder, hex.EncodeToString(sum[:12])+".json")
}

// restore takes up what a run that was cut off had not saved.
func (r *recipe) restore() error {
	b, err := disk.Read(r.keep, 2*lang.MaxSource+1<<16)
	if errors.Is(err, fs.ErrNotExist) || r.keep == "" {
		return nil
	}
	var u unsaved
	if err == nil {
		err = json.Unmarshal(b, &u)
	}
	if err != nil {
		return fmt.Errorf("what was typed into %s and not saved lies in %s and can't be read: %w; move that file away to go on without it", r.path, r.keep, err)
	}
	if bytes.Equal(u.Text, r.disk) {
		return nil
	}
	if u.Was != audit.SumOf(r.disk) {
		r.disk, r.other, r.clash = nil, r.disk, true
	}
	r.restored = true
	r.push(u.Text, false)
	return nil
}

// store keeps the text where it isn't saved, and forgets it where it is.
func (r *recipe) store() error {
	r.mu.Lock()
	u := unsaved{r.path, audit.SumOf(r.disk), r.text()}
	saved := r.saved()
	r.mu.Unlock()
	if saved {
		if err := os.Remove(r.keep); !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		return nil
	}
	b, err := json.Marshal(u)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(r.keep), 0o700); err != nil {
		return err
	}
	return disk.Write(r.keep, b, true)
}
