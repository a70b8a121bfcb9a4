package audit

import (
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

type noted struct {
	Link
	Note string `json:"note"`
}

// A ledger whose disk takes only a part of an entry says where, and stays whole.
// The system's limit for the size of files stands for the full disk.
func TestNoHalfEntryOnAFullDisk(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.jsonl")
	grow := func(note string) error {
		l := &Ledger[noted, *noted]{Path: path}
		return l.Grow(nil, func() ([]noted, error) { return []noted{{Link{Record: "noted"}, note}}, nil })
	}
	if err := grow("first"); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}

	signal.Ignore(syscall.SIGXFSZ)
	defer signal.Reset(syscall.SIGXFSZ)
	var was syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &was); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: uint64(len(before)) + 100, Max: was.Max}); err != nil {
		t.Fatal(err)
	}
	failed := grow("second")
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &was); err != nil {
		t.Fatal(err)
	}
	if failed == nil || !strings.Contains(failed.Error(), path) {
		t.Errorf("%v", failed)
	}
	if after, err := os.ReadFile(path); err != nil || string(after) != string(before) {
		t.Errorf("%q, %v", after, err)
	}

	if err := grow("third"); err != nil {
		t.Error(err)
	}
	l := &Ledger[noted, *noted]{Path: path}
	if err := l.Read(); err != nil || l.Torn != nil || len(l.Lines) != 2 || l.Lines[1].Note != "third" {
		t.Errorf("%+v, %v", l.Lines, err)
	}
}
