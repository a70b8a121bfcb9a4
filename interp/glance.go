package interp

import (
	"context"
	"path/filepath"

	"platemark/interp/disk"
	"platemark/interp/master"
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
	return LoadText(ctx, file, filepath.Dir(disk.Target(file)), source, LoadOptions{Prints: prints, NoOutputs: true, NoPins: true, open: master.Glance})
}
