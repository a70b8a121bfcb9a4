package lang

import (
	"maps"
	"sync"
)

// The words of version 1. Everything here is reserved: it can't be a name.

// Units are the units of the language.
var Units = []string{"in", "cm", "mm", "px", "ppi", "%", "stop", "stops", "mired", "deg", "KB", "MB", "GB"}

// Kernels are the enlarging kernels.
var Kernels = []string{"nearest", "linear", "cubic", "mitchell", "b-spline", "lanczos2", "lanczos3", "lanczos4"}

// Spaces are the built-in colour spaces.
var Spaces = []string{"sRGB", "opRGB", "ROMM-RGB", "Display-P3", "grey-2.2"}

// synonyms lead from words that people try to the word of the language.
var synonyms = map[string]string{
	"rotate": "turn", "flip": "mirror", "resize": "enlarge", "scale": "enlarge",
	"reduce": "enlarge", "color": "colour", "gray": "grey", "jpg": "jpeg",
	"tif": "tiff", "circle": "ellipse", "rect": "rectangle", "line": "stroke",
	"feather": "soft", "blur": "soften", "opacity": "at", "copyright": "rights",
	"source": "master", "output": "print", "step": "steps", "masks": "mask",
	"uses": "follow", "use": "take", "bicubic": "cubic", "bilinear": "linear",
	"lanczos": "lanczos3", "threshold": "quiet", "subtract": "less",
	"upright": "turn", "file-format": "save", "write": "save",
}

// former leads from words of older drafts, behind those of their statement, to
// what is written for them now.
var former = map[string]string{
	"wrap mirror": "continued reflected", "wrap stretch": "continued repeated", "wrap picture": "of picture",
}

// unitSynonyms lead from ways to write a unit to the unit.
var unitSynonyms = map[string]string{
	"inch": "in", "inches": "in", "ins": "in", "centimetre": "cm", "centimetres": "cm",
	"centimeter": "cm", "centimeters": "cm", "millimetre": "mm", "millimetres": "mm",
	"millimeter": "mm", "millimeters": "mm", "pixel": "px", "pixels": "px", "pix": "px",
	"dpi": "ppi", "percent": "%", "pct": "%", "degree": "deg", "degrees": "deg",
	"ev": "stops", "mireds": "mired",
}

func setOf(lists ...[]string) map[string]bool {
	m := map[string]bool{}
	for _, l := range lists {
		for _, w := range l {
			m[w] = true
		}
	}
	return m
}

// reserved holds every word of version 1, from the table of statements and
// the lists above.
var reserved = sync.OnceValue(func() map[string]bool {
	m := setOf(Units, Kernels, Spaces, []string{"nan", "inf", "infinity"})
	for _, s := range Statements() {
		m[s.Word] = true
		for _, p := range s.Params {
			maps.Copy(m, setOf([]string{p.Word, p.Tail}, p.Words))
		}
	}
	for _, w := range []string{"less", "within", "x", "white", "black", "grey"} {
		m[w] = true
	}
	delete(m, "")
	return m
})

// Reserved reports whether a word is one of the language's, built or not, so
// that it can't be a name.
func Reserved(word string) bool { return reserved()[word] }
