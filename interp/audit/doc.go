// Package audit is the log beside a print: its records, the chain that they make,
// the run that they end with, and reading them again.
//
// A chain is lines of RFC 8785 JSON (chain.go), each holding the SHA-256 of the
// line before; the last vouches for itself. It promises that the same records
// give the same bytes, that no log replaces another, and that a log which was
// changed, cut or put together is refused by the line that is wrong. What a plan
// comes to, and whether a log tells of it, is for others to say: this room
// knows no plan.
package audit
