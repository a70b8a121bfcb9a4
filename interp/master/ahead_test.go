package master

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"platemark/ops/raster"
)

// What is decoded behind the hash is what is decoded after it, where the directory
// lies before the samples and, as most programs write it, behind them.
func TestDecodesBehindTheHash(t *testing.T) {
	dir := t.TempDir()
	first, last := filepath.Join(dir, "first.tif"), filepath.Join(dir, "last.tif")
	writeSamples(t, first, 1100, 700, 3, func(i int) uint16 { return uint16(i * 40503) })
	b := []byte(read(t, first))
	ifd := b[binary.LittleEndian.Uint32(b[4:]):]
	ifd = ifd[:2+12*int(binary.LittleEndian.Uint16(ifd))+4]
	moved := append(bytes.Clone(b), ifd...)
	binary.LittleEndian.PutUint32(moved[4:], uint32(len(b)))
	write(t, last, string(moved))
	ctx := context.Background()
	for _, path := range []string{first, last} {
		want, err := Open(ctx, RoleMaster, path, path, false)
		if err != nil {
			t.Fatal(err)
		}
		plain := raster.NewMemory(1100, 700, 3)
		sums, _, err := want.Decode(ctx, plain, 1, nil)
		if err != nil {
			t.Fatal(err)
		}
		in, err := OpenAhead(ctx, RoleMaster, path, path, false, 2, plain.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		rows := 0
		st, got, _, err := in.Decoded(func(n int) { rows += n })
		if err != nil || in.Sum != want.Sum || !slices.Equal(got, sums) || !slices.Equal(st.Memory(), plain.Memory()) || rows != 700 {
			t.Errorf("%s: %v, digest %v of %v, %d rows heard", path, err, in.Sum, want.Sum, rows)
		}
		if st, _, _, err := in.Decoded(nil); st != nil || err != nil {
			t.Errorf("%s: decoded twice, %v", path, err)
		}
		in.Close()
		in, err = OpenAhead(ctx, RoleMaster, path, path, false, 2, plain.Bytes()-1)
		if err != nil || in.ahead != nil {
			t.Errorf("%s: decoded into more memory than allowed, %v", path, err)
		}
		in.Close()
		if in, err = OpenAhead(ctx, RoleMaster, path, path, false, 2, plain.Bytes()); err != nil {
			t.Fatal(err)
		}
		in.Close() // not taken
		want.Close()
	}
	if err := os.Truncate(last, int64(len(b))); err != nil {
		t.Fatal(err)
	}
	_, plainly := Open(ctx, RoleMaster, last, last, false)
	_, ahead := OpenAhead(ctx, RoleMaster, last, last, false, 2, 1<<30)
	if plainly == nil || ahead == nil || plainly.Error() != ahead.Error() {
		t.Errorf("a cut file: %v, ahead %v", plainly, ahead)
	}
	stopped, stop := context.WithCancel(ctx)
	stop()
	if _, err := OpenAhead(stopped, RoleMaster, first, first, false, 2, 1<<30); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}

// No byte is given before it is hashed, but for small reads, which are looked at
// again.
func TestFrontHoldsReadsBack(t *testing.T) {
	data := bytes.Repeat([]byte{1}, 1<<20)
	f := newFront(bytes.NewReader(data), int64(len(data)))
	f.pass(1000, nil)
	big := make([]byte, earlyRead+1)
	given := make(chan error, 1)
	go func() {
		_, err := f.ReadAt(big, 2000)
		given <- err
	}()
	small := make([]byte, 100)
	for _, off := range []int64{0, 950, 1<<20 - 100} { // behind the hash, at its end, far before it
		if _, err := f.ReadAt(small, off); err != nil || small[99] != 1 {
			t.Fatal(err)
		}
	}
	f.pass(2000+earlyRead, nil)
	select {
	case <-given:
		t.Fatal("a byte that wasn't hashed was given")
	case <-time.After(20 * time.Millisecond):
	}
	f.pass(2001+earlyRead, nil)
	if err := <-given; err != nil || big[earlyRead] != 1 {
		t.Fatal(err)
	}
	data[1020] = 2 // was read before the hash came by
	if f.same() {
		t.Error("changed since it was read, and not seen")
	}
	data[1020], data[50] = 1, 2 // was hashed first
	if !f.same() {
		t.Error("what was read before the hash is the same")
	}
	go func() {
		_, err := f.ReadAt(big, 1<<19)
		given <- err
	}()
	failed := errors.New("no more")
	f.pass(0, failed)
	if err := <-given; err != failed {
		t.Errorf("the hash failed: %v", err)
	}
}
