package engine

import (
	"context"
	"encoding/binary"
	"math"
)

// Reduce computes the graph's whole picture and keeps it at w x h, each pixel
// the mean of those it covers, in the picture's own numbers.
func Reduce(ctx context.Context, g *Graph, w, h int, o Options) ([]uint16, error) {
	pic := g.Nodes[g.Out].Pic
	r := &reducer{w: w, h: h, c: pic.C, srcW: pic.W, srcH: pic.H, sums: make([]float64, w*h*pic.C)}
	if _, err := Run(ctx, g, r, o); err != nil {
		return nil, err
	}
	out := make([]uint16, len(r.sums))
	for i, s := range r.sums {
		out[i] = uint16(min(max(s+0.5, 0), 65535))
	}
	return out, nil
}

// reducer is a sink that keeps the picture by area means.
type reducer struct {
	w, h, c, srcW, srcH int
	sums                []float64
	y                   int // the next source row
}

func (r *reducer) Worker(int) SinkWorker { return &reducerRows{r: r, sum: make([]float64, r.w*r.c)} }
func (r *reducer) Align() int            { return 1 }
func (r *reducer) RowBytes() int         { return 8 * r.w * r.c }

// Emit takes rows that are reduced across already and adds them down.
func (r *reducer) Emit(b []byte) error {
	n := r.w * r.c
	for len(b) >= 8*n {
		spread(r.y, r.srcH, r.h, func(i int, share float64) {
			dst := r.sums[i*n : (i+1)*n]
			for k := range dst {
				dst[k] += float64(share * math.Float64frombits(binary.LittleEndian.Uint64(b[8*k:])))
			}
		})
		b = b[8*n:]
		r.y++
	}
	return nil
}

// spread calls add with each of n targets that source place i of m falls in,
// and the share that it has of the target.
func spread(i, m, n int, add func(k int, share float64)) {
	lo, hi := i*n, (i+1)*n // in m-ths of a target
	for k := lo / m; k < n && k*m < hi; k++ {
		add(k, float64(min(hi, (k+1)*m)-max(lo, k*m))/float64(m))
	}
}

type reducerRows struct {
	r   *reducer
	sum []float64
	out []byte
}

func (w *reducerRows) Row(_ int, samples []uint16) error {
	r := w.r
	clear(w.sum)
	for x := range r.srcW {
		lo, hi := x*r.w, (x+1)*r.w
		for k := lo / r.srcW; k < r.w && k*r.srcW < hi; k++ {
			share := float64(min(hi, (k+1)*r.srcW)-max(lo, k*r.srcW)) / float64(r.srcW)
			for c := range r.c {
				w.sum[k*r.c+c] += float64(share * float64(samples[x*r.c+c]))
			}
		}
	}
	for _, s := range w.sum {
		w.out = binary.LittleEndian.AppendUint64(w.out, math.Float64bits(s))
	}
	return nil
}

func (w *reducerRows) Finish(dst []byte) ([]byte, error) {
	out := w.out
	w.out = dst
	return out, nil
}
