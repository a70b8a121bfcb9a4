package interp

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/ops/raster"
	"platemark/testdata/frozen"
)

// Keeping is a folder in which pictures of steps lie by key, from which later
// builds go on (plan.Print.Worth says which). A file is the samples, 16-bit
// little-endian, row by row, and behind them one line, an entry. One run at a time
// writes; any number read. Nil keeps and finds nothing.
type Keeping struct {
	folder string
	most   int64 // bytes that all files in it may take
	tell   func(what string)

	program raster.Sum // of the running program's file
	lock    *os.File
	used    map[string]bool               // files that this run read or made
	under   map[raster.Sum]*pictureInWork // by the node's key
	ended   bool                          // nothing more is kept
}

// keptSuffix ends the names of kept pictures.
const keptSuffix = ".picture"

// entryMost is the longest line behind the samples, in bytes; see audit.MaxLog.
const entryMost = 16 << 20

// entry vouches for a kept picture, and tells what its log needs of the steps
// that it was made by.
type entry struct {
	Key   raster.Sum                 `json:"key"`   // as in the file's name
	Steps map[raster.Sum]plan.Result `json:"steps"` // of its node and of all above, by their keys
	Self  string                     `json:"self"`  // the digest of this line with zeros here
}

// pictureInWork is a picture that is being kept while it is computed.
type pictureInWork struct {
	file *disk.File
	path string
	st   *raster.Store
	most int64 // bytes that its file takes
	node int
	rows atomic.Int64 // that came
	err  atomic.Pointer[error]
}

// KeepingFolder is where pictures are kept: in the user's cache folder.
func KeepingFolder() (string, error) {
	dir, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("there is no folder to keep steps in: %w", err)
	}
	return filepath.Join(dir, "platemark", "steps"), nil
}

// NewKeeping keeps pictures in folder, all files in it taking at most that many
// bytes. tell gets a sentence about what wasn't kept or was damaged.
func NewKeeping(ctx context.Context, folder string, most int64, tell func(what string)) (*Keeping, error) {
	k := &Keeping{folder: folder, most: most, tell: tell, used: map[string]bool{}, under: map[raster.Sum]*pictureInWork{}}
	program, err := os.Executable()
	if err == nil {
		k.program, _, err = master.HashPath(ctx, program)
	}
	if err != nil {
		return nil, fmt.Errorf("steps can't be kept, since this program's own file can't be read: %w", err)
	}
	return k, nil
}

// key names what the picture of a node's key is as this very program makes it:
// another program's pictures are never taken for its own.
func (k *Keeping) key(node raster.Sum) raster.Sum {
	return sha256.Sum256(audit.Canonical(map[string]string{"step": node.String(), "program": k.program.String(), "draft": frozen.Digest()}))
}

func (k *Keeping) path(node raster.Sum) string {
	return filepath.Join(k.folder, k.key(node).String()+keptSuffix)
}

// take is the kept picture of a node; nil where there is none that is sound.
func (k *Keeping) take(p *plan.Print, node int) *kept {
	if k == nil {
		return nil
	}
	path := k.path(p.Nodes[node].Key)
	f, st, err := disk.Open(path)
	if err != nil {
		return nil
	}
	got, err := k.read(f, st.Size(), p, node)
	if err != nil {
		f.Close()
		os.Remove(path)
		k.tell(fmt.Sprintf("a kept step was of no use and is computed anew: %v", err))
		return nil
	}
	now := time.Now()
	os.Chtimes(path, now, now) // the oldest used go first
	k.used[path] = true
	return got
}

// read checks a kept picture, all of its samples by their fingerprints, and
// returns it with f as its store.
func (k *Keeping) read(f *os.File, size int64, p *plan.Print, node int) (*kept, error) {
	n := p.Nodes[node]
	room := n.Pic.Bytes()
	if size <= room || size > room+entryMost {
		return nil, errors.New("its file was cut off, or is another")
	}
	line := make([]byte, size-room)
	if _, err := f.ReadAt(line, room); err != nil {
		return nil, disk.PlainError(err)
	}
	var e entry
	if !audit.Sealed(line, &e, &e.Self) || e.Key != k.key(n.Key) {
		return nil, errors.New("its records were changed")
	}
	for _, i := range p.Above(node) {
		if r := e.Steps[p.Nodes[i].Key]; r.Sum != plan.ResultOf(p.Nodes[i], r.Bands).Sum {
			return nil, errors.New("its records aren't whole")
		}
	}
	st := raster.NewFile(f, n.Pic.W, n.Pic.H, n.Pic.C)
	row, rows, scratch := make([]uint16, n.Pic.Stride()), make([]uint32, n.Pic.H), []byte(nil)
	for y := range rows {
		if err := st.ReadRow(row, y, &scratch); err != nil {
			return nil, err
		}
		rows[y] = raster.RowSum(row, &scratch)
	}
	if !slices.Equal(raster.Bands(rows), e.Steps[n.Key].Bands) {
		return nil, errors.New("its samples were changed")
	}
	return &kept{st, e.Steps, true}, nil
}

// begin begins to keep the picture of a node. The function that it returns takes
// the rows in any order, from several goroutines; nil where nothing is kept.
func (k *Keeping) begin(p *plan.Print, node int) func(y int, row []uint16) {
	if k == nil || k.ended {
		return nil
	}
	n := p.Nodes[node]
	w := &pictureInWork{path: k.path(n.Key), node: node, most: n.Pic.Bytes()}
	for _, i := range p.Above(node) { // their digests, in hexadecimal digits
		w.most += 512 + 72*int64(p.Nodes[i].Pic.H/raster.BandRows)
	}
	fits, err := k.room(w.most)
	if err == nil && !fits {
		k.tell(fmt.Sprintf("the picture of line %d (%s) isn't kept: it needs more room than --keep-steps leaves beside what this run uses", n.Line, plan.SizeText(w.most)))
		return nil
	}
	if err == nil {
		w.file, err = disk.Create(w.path, w.most, w.most, true)
	}
	if err != nil {
		k.end(err)
		return nil
	}
	w.st = raster.NewFile(w.file.File, n.Pic.W, n.Pic.H, n.Pic.C)
	k.under[n.Key] = w
	return func(y int, row []uint16) {
		if w.err.Load() != nil {
			return
		}
		var scratch []byte
		if err := w.st.WriteRow(y, row, &scratch); err != nil {
			w.err.Store(&err)
		}
		w.rows.Add(1)
	}
}

// end says why nothing more is kept.
func (k *Keeping) end(why error) {
	k.ended = true
	k.tell(fmt.Sprintf("steps aren't kept in %s: %v", k.folder, why))
}

// room takes those pictures away that were used longest ago, until there is room
// for need bytes. What this run uses stays. It says whether there is room.
func (k *Keeping) room(need int64) (bool, error) {
	if err := k.own(); err != nil {
		return false, err
	}
	list, err := os.ReadDir(k.folder)
	if err != nil {
		return false, err
	}
	free, old := k.most-need, []fs.FileInfo(nil)
	for _, w := range k.under {
		free -= w.most
	}
	for _, d := range list {
		st, err := d.Info()
		if err != nil || !strings.HasSuffix(d.Name(), keptSuffix) {
			continue
		}
		if free -= st.Size(); !k.used[filepath.Join(k.folder, d.Name())] {
			old = append(old, st)
		}
	}
	could := free
	for _, st := range old {
		could += st.Size()
	}
	if could < 0 {
		return false, nil
	}
	slices.SortFunc(old, func(a, b fs.FileInfo) int { return a.ModTime().Compare(b.ModTime()) })
	for _, st := range old {
		if free >= 0 {
			break
		}
		if err := os.Remove(filepath.Join(k.folder, st.Name())); err == nil {
			free += st.Size()
		}
	}
	return free >= 0, nil
}

// own makes the folder, and this run the one that writes into it.
func (k *Keeping) own() error {
	if k.lock != nil {
		return nil
	}
	if err := os.MkdirAll(k.folder, 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(filepath.Join(k.folder, "lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	if err := disk.Lock(f, 0); err != nil {
		f.Close()
		return err
	}
	k.lock = f
	return nil
}

// finish names the pictures whose rows all came, with the results of a print whose
// inputs were found unchanged.
func (k *Keeping) finish(p *plan.Print, results map[raster.Sum]plan.Result) {
	if k == nil {
		return
	}
	for key, w := range k.under {
		n := p.Nodes[w.node] // all that is under way is of one print
		if w.err.Load() == nil && w.rows.Load() != int64(n.Pic.H) {
			continue
		}
		delete(k.under, key)
		if err := w.finish(k.key(key), p, results); err != nil {
			k.end(err)
			continue
		}
		k.used[w.path] = true
	}
	k.drop()
}

func (w *pictureInWork) finish(key raster.Sum, p *plan.Print, results map[raster.Sum]plan.Result) error {
	if err := w.err.Load(); err != nil {
		w.file.Abandon()
		return disk.PlainError(*err)
	}
	e := entry{Key: key, Steps: map[raster.Sum]plan.Result{}}
	for _, i := range p.Above(w.node) {
		e.Steps[p.Nodes[i].Key] = results[p.Nodes[i].Key]
	}
	c := &audit.Chain{}
	c.Seal(&e, &e.Self)
	if _, err := w.file.WriteAt(c.Last(), w.st.Bytes()); err != nil {
		w.file.Abandon()
		return disk.PlainError(err)
	}
	return w.file.Commit(w.st.Bytes() + int64(len(c.Last())))
}

// drop gives up what was begun and not finished.
func (k *Keeping) drop() {
	if k == nil {
		return
	}
	for _, w := range k.under {
		w.file.Abandon()
	}
	clear(k.under)
}

// close lets another run keep pictures.
func (k *Keeping) close() {
	if k.drop(); k != nil && k.lock != nil {
		k.lock.Close()
		k.lock = nil
	}
}
