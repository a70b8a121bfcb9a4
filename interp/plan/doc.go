// Package plan joins a recipe and its inputs to what is to be made: the nodes of
// each print, each an operation with its version and its arguments as text; keys
// that name what a picture means; the print's mark, its sizes, its file, and the
// records that recipe and inputs determine. Measures become fractions in base
// units, rounded half up where pixels are whole.
//
// No pixel is computed here: of a picture its head is read, and its bytes are
// hashed.
package plan
