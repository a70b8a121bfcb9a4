package disk

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"time"
)

// Swept is what was taken away in one folder.
type Swept struct {
	Folder string
	Files  int
	Bytes  int64
}

var swept struct {
	sync.Mutex
	list []Swept
}

// TakeSwept lists what this run took away of what runs that were killed left
// half written, once.
func TakeSwept() []Swept {
	swept.Lock()
	defer swept.Unlock()
	list := swept.list
	swept.list = nil
	return list
}

// partial is the form of temporary names.
var partial = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^\..+\.platemark-[0-9a-f]{12}\.partial$`) })

// sweep takes the temporary files away that no run holds.
func sweep(dir string) {
	s := Swept{Folder: dir}
	for _, n := range namesIn(dir) {
		if partialFolder().MatchString(n) {
			path := filepath.Join(dir, n)
			if size := folderSize(path); sweepFolder(path) {
				s.Files++
				s.Bytes += size
			}
			continue
		}
		// Pictures in the system's temporary folder had another name once.
		if !partial().MatchString(n) && !(strings.HasPrefix(n, "platemark-picture-") && strings.HasSuffix(n, ".partial")) {
			continue
		}
		path := filepath.Join(dir, n)
		st, err := os.Lstat(path)
		if err == nil && st.Mode().IsRegular() && removeStray(path) {
			s.Files++
			s.Bytes += st.Size()
		}
	}
	if s.Files > 0 {
		swept.Lock()
		swept.list = append(swept.list, s)
		swept.Unlock()
	}
}

// ErrHeld says that another run holds a file's lock.
var ErrHeld = errors.New("another run holds it")

// lockState is what asking for a lock came to.
type lockState int

const (
	lockGot  lockState = iota
	lockHeld           // another run has it
	lockNone           // the file system or the system has no locks
)

// Lock waits that long for the lock of f, which lasts until f is closed or the
// run ends; ErrHeld says that another run kept it. Where there are no locks it
// does nothing.
func Lock(f *os.File, wait time.Duration) error {
	for began := time.Now(); lock(f) == lockHeld; time.Sleep(20 * time.Millisecond) {
		if time.Since(began) > wait {
			return ErrHeld
		}
	}
	return nil
}
