package interp

import (
	"context"
	"crypto/sha256"
	"path/filepath"

	"platemark/interp/disk"
)

// Glance plans the text of a recipe that would lie at file, without reading
// more of its inputs than their heads: for editors, which ask at any time and
// can't wait for a large master. prints are the names of the prints to plan,
// none means all.
//
// The plans say sizes, resolution and what is wrong. Nothing may be built from
// them: their marks and digests are those of names, not of bytes, pinned
// digests aren't compared and what stands at the outputs isn't looked at. The
// caller closes the job.
func Glance(ctx context.Context, file string, source []byte, prints ...string) (*Job, error) {
	return load(ctx, file, filepath.Dir(disk.Target(file)), source, LoadOptions{Prints: prints, NoOutputs: true, noPins: true, glance: true})
}

// glanceInput opens one input and reads its head.
func glanceInput(_ context.Context, role Role, path, found string, white bool) (*Input, error) {
	in, err := newInput(role, path, found, white)
	if err != nil {
		return nil, err
	}
	in.Sum = sha256.Sum256([]byte(string(role) + "\x00" + path))
	if err := in.head(); err != nil {
		in.file.Close()
		return nil, err
	}
	return in, nil
}
