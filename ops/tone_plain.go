//go:build !amd64 || plain

package ops

// toneFast does nothing here: tone.point does all pixels.
type toneFast struct{}

func (k *toneWorker) newFast() *toneFast { return nil }

func (*toneFast) block(_ *toneWorker, _, _ []uint16) bool { return false }

func (*toneFast) levels(_ *toneWorker, _ []int32, _ []uint16) bool { return false }
