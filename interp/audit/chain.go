package audit

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/gowebpki/jcs"

	"platemark/ops/raster"
)

const zeros = "0000000000000000000000000000000000000000000000000000000000000000"

// A Chain gathers records as lines of RFC 8785 JSON, each holding the digest of
// the line before. Logs and the list of rounds are chains.
type Chain struct {
	Lines [][]byte // without their LF
}

// Prev is what the next record holds of the line before: its SHA-256, 64 zeros in
// the first.
func (c *Chain) Prev() string {
	if len(c.Lines) == 0 {
		return zeros
	}
	return SumOf(c.Last())
}

// Add adds a record, whose field prev the caller took from Prev.
func (c *Chain) Add(record any) { c.Lines = append(c.Lines, Canonical(record)) }

// Bytes is the log as a file: each line ended by one LF.
func (c *Chain) Bytes() []byte { return append(bytes.Join(c.Lines, []byte("\n")), '\n') }

// Last is the line that was added last.
func (c *Chain) Last() []byte { return c.Lines[len(c.Lines)-1] }

// Seal adds a record that vouches for itself: self, a field of the record, which
// is a pointer, gets the digest of its line with zeros in that field.
func (c *Chain) Seal(record any, self *string) {
	*self = zeros
	*self = SumOf(Canonical(record))
	c.Add(record)
}

// Sealed reads a line into record, a pointer, and says whether it is in
// canonical form and its own digest, the field self, fits.
func Sealed(line []byte, record any, self *string) bool {
	if strictJSON(line, record) != nil {
		return false
	}
	said := *self
	*self = zeros
	is := SumOf(Canonical(record))
	*self = said
	return is == said
}

// SumOf is the SHA-256 of b in hexadecimal digits, as records write it.
func SumOf(b []byte) string { return raster.Sum(sha256.Sum256(b)).String() }

// strictJSON reads a line that must be v in canonical form and nothing else.
func strictJSON(line []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if d.More() {
		return errors.New("more than one value")
	}
	if !bytes.Equal(Canonical(v), line) {
		return errors.New("not in canonical form")
	}
	return nil
}

// Canonical is the RFC 8785 form of v (integers, strings, lists, objects).
func Canonical(v any) []byte {
	b, err := json.Marshal(v)
	if err == nil {
		b, err = jcs.Transform(b)
	}
	if err != nil {
		panic(fmt.Sprintf("audit: a record can't be written as JSON: %v", err))
	}
	return b
}
