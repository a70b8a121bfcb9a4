package disk

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"sync"
)

// A folder that is being made has the temporary name of a file, with this behind
// it; that file stands beside it as long as the run lives, for its lock.
const folderTail = ".folder"

var partialFolder = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^\..+\.platemark-[0-9a-f]{12}\.partial\.folder$`) })

// MakeFolder makes a folder by fill, which writes into dir, the folder's temporary
// name. It gets its name in one step when fill is done and the disk has it; a name
// that is taken is fs.ErrExist. Files in it are fill's to sync.
func MakeFolder(path string, fill func(dir string) error) error {
	if err := Absent(path); err != nil {
		return err
	}
	around := filepath.Dir(path)
	if err := os.MkdirAll(around, 0o777); err != nil {
		return fmt.Errorf("%s can't be made: the folder around it can't be made: %w", path, PlainError(err))
	}
	dir, drop, err := fleetingFolder(path)
	if err != nil {
		return fmt.Errorf("%s can't be made: nothing can be put into the folder around it: %w", path, PlainError(err))
	}
	defer drop()
	if err := fill(dir); err != nil {
		return err
	}
	err = filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			err = SyncDir(p)
		}
		return err
	})
	if err != nil {
		return err
	}
	if Absent(path) != nil {
		return takenError{path + " came into being meanwhile"}
	}
	if err := os.Rename(dir, path); err != nil {
		return err
	}
	return SyncDir(around)
}

// TempFolder makes a folder in the system's folder for temporary files. It is gone
// when drop is called; where a run was killed, the next takes it away.
func TempFolder() (dir string, drop func(), err error) {
	return fleetingFolder(filepath.Join(os.TempDir(), "folder"))
}

// fleetingFolder makes a folder under a temporary name beside final, which drop
// takes away with all that is in it, and what killed runs left there.
func fleetingFolder(final string) (dir string, drop func(), err error) {
	sweep(filepath.Dir(final))
	lock, temp, err := createTemporary(final)
	if err != nil {
		return "", nil, err
	}
	dir = temp + folderTail
	drop = func() {
		os.RemoveAll(dir)
		unnameOpen(lock, temp)
		lock.Close()
	}
	if err = os.Mkdir(dir, 0o777); err != nil {
		drop()
	}
	return dir, drop, err
}

// sweepFolder takes a folder away that was being made and whose lock no run holds.
func sweepFolder(path string) bool {
	file := path[:len(path)-len(folderTail)]
	if _, err := os.Lstat(file); err == nil && !removeStray(file) {
		return false
	}
	return os.RemoveAll(path) == nil
}

// folderSize is the sum of the sizes of the files in a folder.
func folderSize(dir string) (n int64) {
	filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			if st, err := d.Info(); err == nil {
				n += st.Size()
			}
		}
		return nil
	})
	return n
}
