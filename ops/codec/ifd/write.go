package ifd

import "encoding/binary"

// Entry is a field to be written: its values in the file's order of bytes.
type Entry struct {
	Tag, Type uint16
	Count     int
	Value     []byte
}

// Writer writes header and one directory, with Order and shape as they are.
type Writer struct {
	Order interface {
		binary.ByteOrder
		binary.AppendByteOrder
	}
	Big     bool // BigTIFF
	entries []Entry
}

// Add adds a field; tags have to come in ascending order.
func (w *Writer) Add(tag, typ uint16, count int, value []byte) {
	w.entries = append(w.entries, Entry{tag, typ, count, value})
}

// Shorts adds a field of SHORT values.
func (w *Writer) Shorts(tag uint16, v ...uint16) {
	var b []byte
	for _, x := range v {
		b = w.Order.AppendUint16(b, x)
	}
	w.Add(tag, Short, len(v), b)
}

// Longs adds a field of LONG values.
func (w *Writer) Longs(tag uint16, v ...uint32) {
	var b []byte
	for _, x := range v {
		b = w.Order.AppendUint32(b, x)
	}
	w.Add(tag, Long, len(v), b)
}

// Resolution adds num/den both ways.
func (w *Writer) Resolution(num, den uint32) {
	v := w.Order.AppendUint32(w.Order.AppendUint32(nil, num), den)
	w.Add(XResolution, Rational, 1, v)
	w.Add(YResolution, Rational, 1, v)
}

// Text adds an ASCII field where s is printable ASCII and not empty: the field
// has no other letters.
func (w *Writer) Text(tag uint16, s string) {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' {
			return
		}
	}
	if s != "" {
		w.Add(tag, ASCII, len(s)+1, append([]byte(s), 0))
	}
}

// word is the size of an offset.
func (w *Writer) word() int {
	if w.Big {
		return 8
	}
	return 4
}

// Size is the number of bytes that Bytes gives.
func (w *Writer) Size() int {
	n := 8 + 2 + 12*len(w.entries) + 4
	if w.Big {
		n = 16 + 8 + 20*len(w.entries) + 8
	}
	for _, e := range w.entries {
		if len(e.Value) > w.word() {
			n += len(e.Value) + len(e.Value)%2
		}
	}
	return n
}

// Bytes is the header, the only directory behind it, and then the values that
// don't fit their fields, each on a word boundary.
func (w *Writer) Bytes() []byte {
	b := make([]byte, 0, w.Size())
	word := func(v int) {
		if w.Big {
			b = w.Order.AppendUint64(b, uint64(v))
		} else {
			b = w.Order.AppendUint32(b, uint32(v))
		}
	}
	if b = append(b, 'I', 'I'); w.Order.Uint16([]byte{0, 1}) == 1 {
		b = append(b[:0], 'M', 'M')
	}
	if w.Big {
		b = w.Order.AppendUint16(w.Order.AppendUint16(w.Order.AppendUint16(b, 43), 8), 0)
		word(16)
		word(len(w.entries))
	} else {
		b = w.Order.AppendUint16(b, 42)
		word(8)
		b = w.Order.AppendUint16(b, uint16(len(w.entries)))
	}
	var far []byte // the values that don't fit
	at := len(b) + (4+2*w.word())*len(w.entries) + w.word()
	for _, e := range w.entries {
		b = w.Order.AppendUint16(w.Order.AppendUint16(b, e.Tag), e.Type)
		word(e.Count)
		if len(e.Value) > w.word() {
			word(at + len(far))
			far = append(far, e.Value...)
			far = append(far, make([]byte, len(far)%2)...)
			continue
		}
		b = append(append(b, e.Value...), make([]byte, w.word()-len(e.Value))...)
	}
	word(0) // no further directory
	return append(b, far...)
}
