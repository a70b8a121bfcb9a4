// Package lint holds the tests that keep the promise of equal bytes as a whole:
// the frozen vectors, the search of the compiled code for fused instructions,
// and builds of the program itself.
package lint
