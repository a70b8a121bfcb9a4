package disk

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A file that another program holds open is told before anything is computed,
// and waited for when it is named.
func TestHeldOpen(t *testing.T) {
	p := filepath.Join(t.TempDir(), "p.tif")
	write(t, p, "old")
	o, err := Create(p, 0, 0, true)
	if err != nil {
		t.Fatal(err)
	}
	viewer, err := os.Open(p)
	if err != nil {
		t.Fatal(err)
	}
	if err := Replaceable(p); err == nil || !strings.Contains(err.Error(), "has it open") {
		t.Errorf("%v", err)
	}
	time.AfterFunc(500*time.Millisecond, func() { viewer.Close() })
	if err := o.Commit(0); err != nil || content(t, p) != "" {
		t.Errorf("closed in time: %v", err)
	}
	if viewer, err = os.Open(p); err != nil {
		t.Fatal(err)
	}
	defer viewer.Close()
	if err := Write(p, []byte("x"), true); err == nil || content(t, p) != "" {
		t.Error("a file that is held open was replaced")
	}
	if l := left(t, filepath.Dir(p), "p.tif"); len(l) > 0 {
		t.Errorf("left: %v", l)
	}
}
