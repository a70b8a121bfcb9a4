// Package machines holds tests alone: other machines and another release of Go
// make the same bytes.
package machines
