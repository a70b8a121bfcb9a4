package master

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"

	"platemark/interp/disk"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// Role says what an input is to a recipe.
type Role string

const (
	RoleMaster  Role = "master"
	RoleMask    Role = "mask"
	RolePicture Role = "picture" // made elsewhere
	RoleProfile Role = "profile"
)

// Input is a file that a recipe names, opened once: its digest and its picture
// come from the same open file, and it is refused if it changed meanwhile.
type Input struct {
	Role Role
	Path string // as the recipe writes it, forward slashes
	// Found is where the file was opened. It may lie elsewhere than Path says
	// when a reprint found it by its digest.
	Found string
	Size  int64
	// Sum is that of its bytes where they were Hashed; after Glance it is made of its
	// role and path.
	Sum    raster.Sum
	Hashed bool

	// Picture is set for masters and masks, Profile for profiles.
	Picture *Picture
	Profile *colour.Profile
	// White says that a picture with alpha is laid on white.
	White bool

	file *os.File
	stat fs.FileInfo
	// shared says that the file is another's to close: recipes of one order.
	shared bool
	// ahead is what OpenAhead decodes, until it is given away.
	ahead *ahead
}

// MaxProfile bounds what is read as a profile, in bytes; a JPEG can't carry
// more.
const MaxProfile = 16 << 20

// Open opens, hashes and reads the head of one input. The master and
// every other input are opened read-only.
func Open(ctx context.Context, role Role, path, found string, white bool) (*Input, error) {
	in, err := newInput(role, path, found, white)
	if err != nil {
		return nil, err
	}
	in.Hashed = true
	if in.Sum, err = hashFile(ctx, in.file, in.Size, nil); err == nil {
		err = in.head(in.file)
	}
	if err == nil && role == RoleProfile { // a picture is hashed again once it is decoded
		err = in.Same(ctx)
	}
	if err != nil {
		in.file.Close()
		return nil, err
	}
	return in, nil
}

// Glance opens one input and reads its head, for looking alone: what is decoded of
// it is held against the file's size and time, not against a digest.
func Glance(_ context.Context, role Role, path, found string, white bool) (*Input, error) {
	in, err := newInput(role, path, found, white)
	if err != nil {
		return nil, err
	}
	in.Sum = sha256.Sum256([]byte(string(role) + "\x00" + path))
	if err := in.head(in.file); err != nil {
		in.file.Close()
		return nil, err
	}
	return in, nil
}

// newInput opens an input and reads nothing of it.
func newInput(role Role, path, found string, white bool) (*Input, error) {
	f, st, err := disk.Open(found)
	if err != nil {
		return nil, missing(found, err)
	}
	return &Input{Role: role, Path: path, Found: found, White: white, file: f, stat: st, Size: st.Size()}, nil
}

// missing says why a file can't be opened.
func missing(found string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("there is no file %s", found)
	}
	return disk.PlainError(err)
}

// Same fails if the file's bytes aren't those that were hashed: what was read
// since is then not what a log would say. A file's time can be put back.
func (in *Input) Same(ctx context.Context) error {
	if !in.Hashed {
		return in.Unchanged()
	}
	sum, err := hashFile(ctx, in.file, in.Size, nil)
	if err == nil && sum != in.Sum {
		return in.changed()
	}
	if err != nil {
		return err
	}
	return in.Unchanged()
}

func (in *Input) changed() error {
	return fmt.Errorf("%s changed while it was being read; build again when nothing writes to it", in.Path)
}

// head reads from r, the file, what it says before its pixels.
func (in *Input) head(r io.ReaderAt) (err error) {
	switch in.Role {
	case RoleMaster, RoleMask, RolePicture:
		in.Picture, err = openPicture(r, in.Size, disk.Typed(in.Path), in.White)
	case RoleProfile:
		if in.Size > MaxProfile {
			return fmt.Errorf("it has %d bytes; a profile has at most %d", in.Size, MaxProfile)
		}
		b := make([]byte, in.Size)
		if _, err = r.ReadAt(b, 0); err != nil {
			return disk.PlainError(err)
		}
		in.Profile, err = colour.Parse(b)
	}
	return err
}

// Unchanged fails if the file's size or time isn't what it was when it was
// hashed.
func (in *Input) Unchanged() error {
	st, err := in.file.Stat()
	if err == nil && st.Size() == in.stat.Size() && st.ModTime().Equal(in.stat.ModTime()) {
		return nil
	}
	return in.changed()
}

// Stands says whether what is found at the input's place is still the very file
// that was hashed, of the same size and time.
func (in *Input) Stands() bool {
	st, err := os.Stat(in.Found)
	return err == nil && os.SameFile(st, in.stat) && in.Unchanged() == nil
}

// Warnings are sentences about a picture that was read otherwise than its file
// says, or in part.
func (in *Input) Warnings() []string {
	if in.Profile != nil && in.Profile.Note() != "" {
		return []string{in.Profile.Note()}
	}
	if in.Picture == nil {
		return nil
	}
	info := in.Picture.Info()
	w := slices.Clone(info.Warnings)
	for i := range w {
		if w[i] == alphaWarning && in.Role != RoleMaster { // only that has `on white`
			w[i] = fmt.Sprintf(otherAlpha, in.Role, in.Role)
		}
	}
	for _, o := range info.Others {
		w = append(w, "the file also holds "+o+", which isn't used")
	}
	return w
}

// Close closes the file.
func (in *Input) Close() error {
	if in.shared {
		return nil
	}
	if in.ahead != nil {
		in.ahead.drop()
	}
	return in.file.Close()
}

// Named is the same open file under another name; closing it leaves the file
// open.
func (in *Input) Named(path, found string) *Input {
	mine := *in
	mine.Path, mine.Found, mine.shared = path, found, true
	return &mine
}

// hashFile is the SHA-256 of size bytes of r, cancelled within a few
// milliseconds; passed, if not nil, hears how many were hashed.
func hashFile(ctx context.Context, r io.ReaderAt, size int64, passed func(n int64)) (raster.Sum, error) {
	h := sha256.New()
	buf := make([]byte, 1<<18)
	s := io.NewSectionReader(r, 0, size)
	var n int64
	for {
		if err := ctx.Err(); err != nil {
			return raster.Sum{}, context.Cause(ctx)
		}
		k, err := s.Read(buf)
		h.Write(buf[:k])
		if n += int64(k); passed != nil {
			passed(n)
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return raster.Sum{}, disk.PlainError(err)
		}
	}
	if n != size {
		return raster.Sum{}, fmt.Errorf("it had %d bytes, then %d", size, n)
	}
	var sum raster.Sum
	h.Sum(sum[:0])
	return sum, nil
}

// HashPath is the SHA-256 and size of the file at path.
func HashPath(ctx context.Context, path string) (raster.Sum, int64, error) {
	f, st, err := disk.Open(path)
	if err != nil {
		return raster.Sum{}, 0, disk.PlainError(err)
	}
	defer f.Close()
	s, err := hashFile(ctx, f, st.Size(), nil)
	return s, st.Size(), err
}

// Decode decodes a picture input into a store of its size and takes the fingerprint
// of each row of its samples as stored; progress, if not nil, hears how many
// rows came. report says in sentences what was found in the samples. Whether these
// are of the bytes that were hashed, Same tells afterwards.
func (in *Input) Decode(ctx context.Context, st *raster.Store, workers int, progress func(rows int)) (sums []uint32, report []string, err error) {
	info := in.Picture.Info()
	sums = make([]uint32, info.H)
	var scratch []byte
	stride := info.W * info.Channels
	emit := func(y0 int, rows []uint16) error {
		for i := 0; i*stride < len(rows); i++ {
			row := rows[i*stride : (i+1)*stride]
			sums[y0+i] = raster.RowSum(row, &scratch)
			if err := st.WriteRow(y0+i, row, &scratch); err != nil {
				return err
			}
		}
		if progress != nil {
			progress(len(rows) / stride)
		}
		return nil
	}
	report, err = in.Picture.decode(ctx, workers, st.Memory(), emit)
	return sums, report, err
}
