package disk

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// A KindError says that what stands at a name is no regular file.
type KindError struct{ What string } // "a folder", "a named pipe"

func (e *KindError) Error() string { return "it is " + e.What + ", not an ordinary file" }

// Regular fails with a *KindError if info isn't of a regular file.
func Regular(info fs.FileInfo) error {
	switch m := info.Mode(); {
	case m.IsRegular():
		return nil
	case m.IsDir():
		return &KindError{"a folder"}
	case m&fs.ModeNamedPipe != 0:
		return &KindError{"a named pipe"}
	case m&fs.ModeSocket != 0:
		return &KindError{"a socket"}
	case m&fs.ModeDevice != 0:
		return &KindError{"a device"}
	}
	return &KindError{"something special"}
}

// Open opens a regular file for reading. It looks before it opens, since
// opening a named pipe waits for a writer, and again afterwards.
func Open(path string) (*os.File, fs.FileInfo, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, nil, err
	}
	if err := Regular(st); err != nil {
		return nil, nil, err
	}
	f, err := os.OpenFile(path, os.O_RDONLY|openWithoutWaiting, 0)
	if err != nil {
		return nil, nil, err
	}
	if st, err = f.Stat(); err == nil {
		err = Regular(st)
	}
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	return f, st, nil
}

// A SizeError says that a file is larger than what is read of its kind.
type SizeError struct{ Size, Most int64 }

func (e *SizeError) Error() string {
	return fmt.Sprintf("it has %d bytes, and at most %d are read", e.Size, e.Most)
}

// Read reads a regular file of at most that many bytes whole.
func Read(path string, most int64) ([]byte, error) {
	f, st, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if st.Size() > most {
		return nil, &SizeError{st.Size(), most}
	}
	b := make([]byte, 0, st.Size()+1)
	for {
		n, err := f.Read(b[len(b):cap(b)])
		b = b[:len(b)+n]
		switch {
		case int64(len(b)) > most:
			return nil, &SizeError{int64(len(b)), most}
		case err == io.EOF:
			return b, nil
		case err != nil:
			return nil, err
		case len(b) == cap(b): // it grows
			b = append(b, 0)[:len(b)]
		}
	}
}

// PlainError drops the path and the system call from an error that is shown
// beside the path anyway.
func PlainError(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
