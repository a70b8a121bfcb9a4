// Package second holds this interpreter against the second reader of recipes in
// testdata/second, which was written in another language from the text alone.
package second
