// Package master reads what a recipe names: the master, masks and profiles. It
// opens a file by what it holds, whatever its name ends in, takes its digest,
// tells what it says of itself, decodes its pixels, describes it in words, and
// takes a JPEG file over into a TIFF.
//
// It promises that digest, head and pixels come from one open file, read-only,
// and that a file which changed meanwhile is refused; that nothing is guessed
// about colours; and that Adopt overwrites nothing. It refuses JPEG files,
// which decoders read differently, and every other kind with a way out. It
// knows no recipe's tree and no plan.
package master
