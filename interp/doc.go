// Package interp joins meaning and pixels: it reads and plans a recipe
// (package plan), runs the plan in bands, writes the print file and the audit
// log, verifies logs and reprints from them.
//
// It promises that a print's mark is known before the first pixel, that the
// same recipe and inputs give the same bytes whatever the machine, the number
// of workers and the cut of the bands, that nothing that exists is overwritten
// unless the caller says so, and that no file stands under a print's name
// unless it is complete. It refuses inputs that changed, outputs that are
// inputs, and plans that a print file can't hold, before any pixel is computed.
package interp
