package interp

import (
	"bufio"
	"context"
	"io"
	"os"

	"platemark/interp/disk"
	"platemark/interp/pdf"
	"platemark/interp/plan"
	"platemark/ops/codec/tiff"
)

// TrueSize writes a PDF that shows a print file at its true size, with its own
// pixels and profile: a JPEG's bytes as they are, a TIFF's samples packed. It is
// for printing at home; no byte of the print hangs on it.
func TrueSize(ctx context.Context, file string, p *plan.Print, path string, force bool) error {
	f, st, err := disk.Open(file)
	if err != nil {
		return disk.PlainError(err)
	}
	defer f.Close()
	pic := p.Nodes[p.Out].Pic
	m := &pdf.Picture{W: pic.W, H: pic.H, Channels: pic.C, Bits: max(8, p.File.Bits), ICC: p.File.Profile.Bytes(), JPEG: p.File.Format == "jpeg"}
	m.Data = func(w io.Writer) error {
		_, err := io.Copy(w, io.NewSectionReader(f, 0, st.Size()))
		return err
	}
	if !m.JPEG {
		t, err := tiff.Open(f, st.Size())
		if err != nil {
			return err
		}
		m.Data = func(w io.Writer) error { return samplesTo(ctx, w, t, m.Bits) }
	}
	title := p.Name
	if p.File.Title != "" {
		title = p.File.Title + ", " + p.Name
	}
	d := &pdf.Document{Title: title}
	if err := d.Picture(m); err != nil {
		return err
	}
	ppi, _ := p.Face.PPI.Float64()
	points := func(px int) float64 { return 72 * float64(px) / ppi }
	w, h := points(pic.W), points(pic.H)
	d.Page(w, h).Place(m, 0, 0, w, h)
	return disk.Make(path, force, func(to *os.File) error { return d.Write(to) })
}

// samplesTo writes a TIFF's samples row by row, of 8 bits or of 16 with the high
// byte first.
func samplesTo(ctx context.Context, w io.Writer, t *tiff.File, bits int) error {
	b := bufio.NewWriterSize(w, 1<<16)
	err := t.Decode(ctx, 1, func(_ int, rows []uint16) error {
		for _, v := range rows {
			b.WriteByte(byte(v >> 8))
			if bits == 16 {
				b.WriteByte(byte(v))
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return b.Flush()
}
