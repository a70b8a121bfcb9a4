package disk

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unsafe"

	"golang.org/x/sys/windows"
)

func full(err error) bool {
	return errors.Is(err, windows.ERROR_DISK_FULL) || errors.Is(err, windows.ERROR_HANDLE_DISK_FULL)
}

// lock asks for the lock of f without waiting. Locks keep others from reading
// here, so that a byte is locked that no file reaches.
func lock(f *os.File) lockState {
	at := windows.Overlapped{OffsetHigh: 1 << 30}
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
	switch {
	case err == nil:
		return lockGot
	case errors.Is(err, windows.ERROR_LOCK_VIOLATION), errors.Is(err, windows.ERROR_IO_PENDING):
		return lockHeld
	}
	return lockNone
}

// extended is a path as the system takes it at any length.
func extended(path string) (*uint16, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	switch {
	case strings.HasPrefix(abs, `\\?\`), strings.HasPrefix(abs, `\\.\`):
	case strings.HasPrefix(abs, `\\`):
		abs = `\\?\UNC` + abs[1:]
	default:
		abs = `\\?\` + abs
	}
	return windows.UTF16PtrFromString(abs)
}

// open opens a file with the right to rename and remove it.
func open(name string, access, share, how, attributes uint32) (*os.File, error) {
	p, err := extended(name)
	if err != nil {
		return nil, err
	}
	h, err := windows.CreateFile(p, access|windows.DELETE|windows.SYNCHRONIZE, share, nil, how, attributes, 0)
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	return os.NewFile(uintptr(h), name), nil
}

// createLocked makes a temporary file that others may read, not write, rename
// or remove: that is its lock.
func createLocked(name string) (*os.File, error) {
	return open(name, windows.GENERIC_READ|windows.GENERIC_WRITE, windows.FILE_SHARE_READ, windows.CREATE_NEW, windows.FILE_ATTRIBUTE_NORMAL)
}

// createFleeting makes a file that goes when it is closed, or its run ends.
func createFleeting(name string) (*os.File, error) {
	return open(name, windows.GENERIC_READ|windows.GENERIC_WRITE, windows.FILE_SHARE_READ, windows.CREATE_NEW, windows.FILE_ATTRIBUTE_TEMPORARY|windows.FILE_FLAG_DELETE_ON_CLOSE)
}

// removeStray removes a temporary file; the system refuses while a run has it.
func removeStray(path string) bool { return os.Remove(path) == nil }

// unnameOpen marks an open file for removal when it is closed.
func unnameOpen(f *os.File, _ string) {
	gone := byte(1)
	windows.SetFileInformationByHandle(windows.Handle(f.Fd()), windows.FileDispositionInfo, &gone, 1)
}

// Replaceable fails if the file at path is held open by another program, or may
// not be written; that there is none is fine.
func Replaceable(path string) error {
	st, err := os.Stat(path)
	if err != nil {
		return nil
	}
	if st.Mode().Perm()&0o200 == 0 {
		return fmt.Errorf("%s may not be written (its read-only mark is set) and can't be replaced", path)
	}
	f, err := open(path, 0, windows.FILE_SHARE_READ|windows.FILE_SHARE_WRITE|windows.FILE_SHARE_DELETE, windows.OPEN_EXISTING, windows.FILE_FLAG_BACKUP_SEMANTICS)
	if err != nil {
		return unreplaceable(path, err)
	}
	return f.Close()
}

func unreplaceable(path string, err error) error {
	if errors.Is(err, windows.ERROR_SHARING_VIOLATION) || errors.Is(err, windows.ERROR_ACCESS_DENIED) {
		return fmt.Errorf("%s can't be replaced: another program has it open, or it may not be written; close it there and try again", path)
	}
	return err
}

// namingTries is how long another program's hold on a file is waited for.
const namingTries = 2 * time.Second

// name gives the file its final name through its open handle.
func (o *File) name() error {
	p, err := extended(o.final)
	if err != nil {
		return err
	}
	name := windows.UTF16PtrToString(p)
	text, err := windows.UTF16FromString(name)
	if err != nil {
		return err
	}
	type renameInfo struct { // FILE_RENAME_INFO
		replace uint32
		root    windows.Handle
		bytes   uint32
		name    [1]uint16
	}
	size := unsafe.Offsetof(renameInfo{}.name) + 2*uintptr(len(text))
	words := make([]uint64, (size+7)/8+1)
	info := (*renameInfo)(unsafe.Pointer(&words[0]))
	if o.force {
		info.replace = 1
	}
	info.bytes = uint32(2 * (len(text) - 1))
	copy(unsafe.Slice(&info.name[0], len(text)), text)
	for began := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		err = windows.SetFileInformationByHandle(windows.Handle(o.Fd()), windows.FileRenameInfo, (*byte)(unsafe.Pointer(info)), uint32(size))
		held := errors.Is(err, windows.ERROR_SHARING_VIOLATION) || errors.Is(err, windows.ERROR_ACCESS_DENIED)
		if !held || time.Since(began) > namingTries {
			break
		}
	}
	if err == nil {
		return nil
	}
	if o.force {
		err = unreplaceable(o.final, err)
	}
	return err
}

// Free names the volume that folder lies on and says the bytes free on it for
// this user; ok is false where that isn't known.
func Free(folder string) (disk string, free int64, ok bool) {
	p, err := extended(folder)
	if err != nil {
		return "", 0, false
	}
	var bytes uint64
	volume := make([]uint16, windows.MAX_LONG_PATH)
	if windows.GetDiskFreeSpaceEx(p, &bytes, nil, nil) != nil || windows.GetVolumePathName(p, &volume[0], uint32(len(volume))) != nil {
		return "", 0, false
	}
	return windows.UTF16ToString(volume), int64(bytes), true
}
