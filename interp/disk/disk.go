// Package disk is a file's way to its name: temporary, room, lock, sync, name.
// It also opens what is read by name, regular files only, and says what names
// mean one file. It knows nothing of recipes and prints.
//
// # What is promised
//
// A file made here has no name, or a temporary one, until it is whole and the
// disk has it; then it gets its name in one step. A file that exists is
// replaced only where that is asked for, in one step too and with its
// permission bits kept: whoever opens the name finds the old file or the new
// one. A run that ends, however it ends, leaves nothing under the name.
//
//   - Linux: the file has no name while it is written (O_TMPFILE), so that the
//     system takes it away when the run is killed. linkat names it and fails
//     where the name is taken. To replace a file it first gets a temporary name,
//     for a moment. On a file system without nameless files it is made as on
//     other Unix systems.
//   - Other Unix systems: the file has a hidden temporary name beside its final
//     one, .NAME.platemark-XXXXXXXXXXXX.partial, and a lock (flock) as long as
//     its run lives. link gives the name and fails where it is taken; rename
//     replaces. On a file system without hard links the name is looked at and
//     then given: a file that comes between the two is replaced.
//   - Windows: the temporary name as on Unix. The file is open for this run
//     alone, which is its lock. It gets its name through the open handle
//     (SetFileInformationByHandle), so that there is no moment between lock and
//     name. A file that another program holds open can't be replaced: that is
//     looked at first, and the naming is tried for two seconds.
//
// What runs that were killed left is taken away by the next run that writes
// into the folder, if its lock is free; TakeSwept tells of it. On a file system
// without locks nothing is swept and Lock is no protection; nothing fails.
//
// A folder is made under a temporary name too, with a locked file of that name
// beside it (MakeFolder); on no system does a folder take a file's place.
//
// The file is synced before it is named, the folder afterwards, where the
// system has a way to (not on Windows, whose file systems log names
// themselves). An error of the device is an error. The room that a file is
// said to need is set aside first on Linux and Windows; elsewhere a full disk
// is met while writing.
package disk

import (
	"bytes"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// A File is being made: it has no name, or a temporary one, until Commit.
type File struct {
	*os.File
	final string
	force bool
	temp  string      // "" where it has no name
	mode  fs.FileMode // of the file that it replaces, 0 where there is none
	named bool
	fresh int        // bytes written since the last sync began
	early chan error // what syncs while writing came to, while none is under way
}

// earlyBytes is how much is written until a sync begins beside further writing.
const earlyBytes = 16 << 20

// A takenError says that a name is taken; it is fs.ErrExist.
type takenError struct{ what string }

func (e takenError) Error() string        { return e.what + ", and nothing is overwritten unasked" }
func (e takenError) Is(target error) bool { return target == fs.ErrExist }

// Absent fails if anything stands at path.
func Absent(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return takenError{path + " exists already"}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s can't be written: %w", path, PlainError(err))
	}
	return nil
}

// Create begins the file final, in a folder that is made where it is missing,
// and takes away what killed runs left there. The most bytes that it may need
// are set aside, or at least those that it likely needs. With force it may
// replace a file; whether that can be done is looked at now.
func Create(final string, likely, most int64, force bool) (*File, error) {
	o := &File{final: final, force: force, early: make(chan error, 1)}
	o.early <- nil
	if force {
		if err := Replaceable(final); err != nil {
			return nil, err
		}
		if st, err := os.Stat(final); err == nil {
			o.mode = st.Mode().Perm()
		}
	} else if err := Absent(final); err != nil {
		return nil, err
	}
	dir := filepath.Dir(final)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("%s can't be written: its folder can't be made: %w", final, PlainError(err))
	}
	sweep(dir)
	if err := o.begin(dir); err != nil {
		return nil, fmt.Errorf("%s can't be written: nothing can be put into its folder: %w", final, PlainError(err))
	}
	if most <= 0 {
		return o, nil
	}
	err := reserve(o.File, most)
	if full(err) {
		err = reserve(o.File, likely)
	}
	if err != nil {
		o.Abandon()
		return nil, fmt.Errorf("no room for %s, which needs about %s and at most %s: %w", final, megabytes(likely), megabytes(most), PlainError(err))
	}
	return o, nil
}

// begin opens the file, without a name where the system can.
func (o *File) begin(dir string) (err error) {
	if o.File, err = createNameless(dir); err == nil {
		lock(o.File) // for the moment in which a replacing file has two names
		return nil
	}
	o.File, o.temp, err = createTemporary(o.final)
	return err
}

// createTemporary makes a locked file under a new temporary name beside final.
func createTemporary(final string) (f *os.File, temp string, err error) {
	for range 100 {
		temp = temporary(final)
		if f, err = createLocked(temp); err == nil || !errors.Is(err, errLost) {
			break
		}
	}
	return f, temp, err
}

// errLost says that another run swept a file between its creation and its lock.
var errLost = errors.New("another run keeps taking the temporary file away")

// temporary is a new temporary name beside final.
func temporary(final string) string {
	var id [6]byte
	rand.Read(id[:]) // never fails
	return filepath.Join(filepath.Dir(final), "."+filepath.Base(final)+".platemark-"+hex.EncodeToString(id[:])+".partial")
}

// megabytes rounds up to a tenth.
func megabytes(n int64) string { return fmt.Sprintf("%.1f MB", float64((n+99_999)/100_000)/10) }

// Write writes at the file's end, and lets the disk have what it wrote meanwhile, so
// that Commit waits for the rest alone. What goes wrong with that is Commit's error.
func (o *File) Write(b []byte) (int, error) {
	n, err := o.File.Write(b)
	if o.fresh += n; o.fresh < earlyBytes {
		return n, err
	}
	select {
	case was := <-o.early:
		if was != nil {
			o.early <- was
			break
		}
		o.fresh = 0
		go func() { o.early <- call("sync", o.Sync) }()
	default:
	}
	return n, err
}

// Commit cuts the file to length bytes, brings it to the disk and gives it its
// name. Without force an existing file wins: the error is fs.ErrExist then.
// After an error the file is gone, unless Named says otherwise.
func (o *File) Commit(length int64) error { return o.commit(length, nil) }

// commit asks last, if set, just before the name is given.
func (o *File) commit(length int64, last func() error) error {
	err := <-o.early
	if err == nil {
		err = o.Truncate(length)
	}
	if err == nil && o.mode != 0 {
		err = o.keepMode()
	}
	if err == nil {
		err = call("sync", o.Sync)
	}
	if err != nil {
		o.Abandon()
		return fmt.Errorf("writing %s: %w", o.final, PlainError(err))
	}
	if last != nil {
		err = last()
	}
	if err == nil {
		err = o.name()
	}
	if err != nil {
		o.Abandon()
		if errors.Is(err, fs.ErrExist) {
			return takenError{o.final + " came into being meanwhile"}
		}
		return err
	}
	o.named = true
	o.File.Close()
	if err := SyncDir(filepath.Dir(o.final)); err != nil {
		return fmt.Errorf("%s is whole, but the disk reports an error of its folder, so that its name may be lost: %w", o.final, PlainError(err))
	}
	return nil
}

// keepMode gives the file the permission bits of the one that it replaces,
// where the file system knows any.
func (o *File) keepMode() error {
	if st, err := o.Stat(); err != nil || st.Mode().Perm() == o.mode {
		return err
	}
	return o.Chmod(o.mode)
}

// Named says whether the file has its name, which may be so after an error of
// Commit.
func (o *File) Named() bool { return o.named }

// Abandon gives the file up.
func (o *File) Abandon() {
	if o.temp != "" {
		unnameOpen(o.File, o.temp)
	}
	o.File.Close()
}

// Standing is a folder, or where it isn't there the nearest one above it that is.
func Standing(folder string) string {
	for {
		if _, err := os.Stat(folder); err == nil || filepath.Dir(folder) == folder {
			return folder
		}
		folder = filepath.Dir(folder)
	}
}

// Make makes a file by fill; with force it may replace one.
func Make(path string, force bool, fill func(w *os.File) error) error {
	return put(path, force, fill, nil)
}

// Write makes a file of data; with force it may replace one.
func Write(path string, data []byte, force bool) error {
	return put(path, force, func(w *os.File) error { _, err := w.Write(data); return err }, nil)
}

// Rewrite puts data in place of the file at path, which was read as was: if it
// is another now, nothing is written. A linked file stays a link.
func Rewrite(path string, was, data []byte) error {
	if bytes.Equal(was, data) {
		return nil
	}
	real := Target(path)
	same := func() error {
		now, err := Read(real, int64(len(was)))
		if err == nil && bytes.Equal(now, was) {
			return nil
		}
		return fmt.Errorf("%s was changed meanwhile and stays as it is: run this again", path)
	}
	return put(real, true, func(w *os.File) error { _, err := w.Write(data); return err }, same)
}

func put(path string, force bool, fill func(w *os.File) error, last func() error) error {
	o, err := Create(path, 0, 0, force)
	if err != nil {
		return err
	}
	st := fs.FileInfo(nil)
	if err = fill(o.File); err == nil {
		st, err = o.Stat()
	}
	if err != nil {
		o.Abandon()
		return fmt.Errorf("writing %s: %w", path, PlainError(err))
	}
	return o.commit(st.Size(), last)
}

// Temp is a temporary file of size bytes in the system's folder for such, which
// is gone when it is closed or the run ends.
func Temp(size int64) (*os.File, error) {
	dir := os.TempDir()
	sweep(dir)
	f, err := createNameless(dir)
	if err != nil {
		f, err = createFleeting(temporary(filepath.Join(dir, "picture")))
	}
	if err != nil {
		return nil, err
	}
	if err := reserve(f, size); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// testOnlyFault, if set, may answer in place of a call to the system.
var testOnlyFault func(name string) error

// call makes a call to the system, again where a signal cut it off.
func call(name string, f func() error) error {
	for {
		err := error(nil)
		if testOnlyFault != nil {
			err = testOnlyFault(name)
		}
		if err == nil {
			err = f()
		}
		if !interrupted(err) {
			return err
		}
	}
}
