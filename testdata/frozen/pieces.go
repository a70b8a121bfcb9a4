package frozen

import (
	"fmt"
	"strings"
	"sync"
)

// A Piece is a part of the language that bytes depend on, frozen or a draft. What
// is frozen keeps its meaning for good; `recipe 1` without `draft` may use nothing
// else.
type Piece struct {
	Kind    string // operation, kernel, encoder, reader, digest, table or statement
	Name    string // of a statement its heading in SPEC: "crop", "curve, in a tone"
	Version int
	Frozen  bool
	// Tests that hold it against a plain twin of its own, and against something from
	// outside: what is published, what another program makes, or what was worked by
	// hand. "ops.TestBlendEqualsSlow", several with spaces between, "" for none.
	Twin, Outside string
}

// String names a piece: "operation blend 1". A statement is its language
// version's and has none of its own: "statement crop".
func (p Piece) String() string {
	if p.Kind == "statement" {
		return "statement " + p.Name
	}
	return fmt.Sprintf("%s %s %d", p.Kind, p.Name, p.Version)
}

// Vectors are the file with the vectors of a piece, which may hold a *, and words
// that those of other pieces in it lack.
func (p Piece) Vectors() (file, words string) {
	switch p.Kind + " " + p.Name {
	case "digest mark":
		return fmt.Sprintf("language-%d.txt", p.Version), "= mark "
	case "digest log":
		return fmt.Sprintf("language-%d.txt", p.Version), "= records "
	case "reader icc":
		return fmt.Sprintf("table-profiles-%d.txt", p.Version), "\npaper-4 "
	}
	switch p.Kind {
	case "statement":
		return fmt.Sprintf("language-%d*.recipe", p.Version), ""
	case "kernel":
		return fmt.Sprintf("operation-enlarge-%d.txt", p.Version), "arg kernel " + p.Name + "\n"
	case "reader":
		return fmt.Sprintf("decoder-%s-%d.txt", p.Name, p.Version), ""
	}
	return fmt.Sprintf("%s-%s-%d.txt", p.Kind, p.Name, p.Version), ""
}

// pieces is the table: one row a piece. A row of a frozen piece is never changed
// or taken out, nor made a draft again; a further version is a row of its own.
var pieces = sync.OnceValue(func() []Piece {
	return append([]Piece{
		{"operation", "blend", 1, false, "ops.TestBlendEqualsSlow", ""},
		{"operation", "border", 1, false, "", "ops.TestBorderByHand"},
		{"operation", "convert", 1, false, "ops/colour.TestRowsAgainstPlainMatrix ops/colour.TestTablesAgainstPlainReading", "ops/colour.TestTransformsNearLittleCMS ops/colour.TestTransformsOfOutsideProfiles"},
		{"operation", "crop", 1, false, "ops.TestCropStartsAtItsOwnCorner", ""},
		{"operation", "deconvolve", 1, false, "ops.TestDeconvolveEqualsSlow", "ops.TestInverseAgainstScikitImage"},
		{"operation", "denoise", 1, false, "ops.TestDenoiseEqualsSlow", "ops.TestDenoiseGains ops.TestDenoiseBesideLibraries"},
		{"operation", "edges", 1, false, "ops.TestEdgesEqualSlow", "ops.TestEdgesMeasureAStep"},
		{"operation", "enlarge", 1, false, "ops.TestEnlargeEqualsSlow", "ops.TestEnlargeAgainstOwnFloat64AndPillow ops.TestEnlargeAgreesWithLibraries"},
		{"operation", "fringe", 1, false, "ops.TestFringeEqualsSlow", "ops.TestFringeHandWorked"},
		{"operation", "grain", 1, false, "ops.TestGrainEqualsSlow", "ops.TestGrainSpectrum"},
		{"operation", "mask", 1, false, "ops.TestMaskSkipsEqualPlain ops.TestMaskAgainstFloat64", "ops.TestMaskHandWorked"},
		{"operation", "mix", 1, false, "ops.TestMixByHand", ""},
		{"operation", "range", 1, false, "ops.TestRangeEqualsSlow", "ops.TestRangeOfGreys"},
		{"operation", "sharpen", 1, false, "ops.TestSharpenEqualsSlow", "ops.TestSharpenAgainstTextbook"},
		{"operation", "sheet", 1, false, "ops.TestLettersByPoints", "ops.TestLettersBesideALibrary ops.TestSheetByHand"},
		{"operation", "spot-pixels", 1, false, "ops.TestSpotPixelsAgainstPlain", "ops.TestSpotPixelsHandWorked"},
		{"operation", "spots", 1, false, "ops.TestSpotsAgainstFloat64", "ops.TestSpotsHandWorked ops.TestMembraneIsHarmonic"},
		{"operation", "tint", 1, false, "", ""},
		{"operation", "tone", 1, false, "ops.TestToneAgainstPlainFormulas ops.TestToneAroundEqualsDefinition", "ops.TestToneLabAgainstPublishedNumbers ops.TestCubicAgainstFritschCarlson ops.TestToneWarmthAgainstCIE"},
		{"operation", "turn", 1, false, "", "ops.TestEveryOrientationStandsUpright"},
		{"operation", "wrap", 1, false, "ops.TestWrapEqualsSlow", "ops.TestWrapByHand"},

		{"kernel", "b-spline", 1, false, "ops.TestEnlargeEqualsSlow", "ops.TestKernelsAgainstPublishedFormulas"},
		{"kernel", "cubic", 1, false, "ops.TestEnlargeEqualsSlow", "ops.TestKernelsAgainstPublishedFormulas"},
		{"kernel", "lanczos2", 1, false, "ops.TestEnlargeEqualsSlow", "ops.TestKernelsAgainstPublishedFormulas"},
		{"kernel", "lanczos3", 1, false, "ops.TestEnlargeEqualsSlow", "ops.TestKernelsAgainstPublishedFormulas"},
		{"kernel", "lanczos4", 1, false, "ops.TestEnlargeEqualsSlow", "ops.TestKernelsAgainstPublishedFormulas"},
		{"kernel", "linear", 1, false, "ops.TestEnlargeEqualsSlow", "ops.TestKernelsAgainstPublishedFormulas"},
		{"kernel", "mitchell", 1, false, "ops.TestEnlargeEqualsSlow", "ops.TestKernelsAgainstPublishedFormulas"},
		{"kernel", "nearest", 1, false, "ops.TestEnlargeEqualsSlow", ""},

		{"encoder", "jpeg", 1, false, "ops/codec/jpeg.TestFastEqualsPlain", "ops/codec/jpeg.TestFrozenSameBytesAsLibjpeg ops/codec/jpeg.TestReadByLibjpeg"},
		{"encoder", "tiff", 1, false, "", "ops/codec/tiff.TestOutsideReadsPrintFiles ops/codec/tiff.TestWritesTagsAsPublished"},

		{"reader", "icc", 1, false, "ops/colour.TestTablesAgainstPlainReading", "ops/colour.TestOutsideKindsOfTables"},
		{"reader", "png", 1, false, "ops/codec/png.TestEveryKind", "ops/codec/png.TestOutsideWritten"},
		{"reader", "tiff", 1, false, "ops/codec/tiff.TestEveryKindEqualsPlainReading", "ops/codec/tiff.TestOutsidePythonWrites ops/codec/tiff.TestOutsideLibtiffCopiesEveryKind"},

		{"digest", "log", 1, false, "", "interp.TestLinkByHand"},
		{"digest", "mark", 1, false, "", ""},
		{"digest", "picture", 1, false, "ops/raster.TestPictureSum", "ops/raster.TestRowSum"},

		{"table", "functions", 1, false, "", "ops/exact.TestDoubledAgainstBig"},
		{"table", "profiles", 1, false, "", "ops/colour.TestBuiltinsAreMadeOfPublishedNumbers"},
		{"table", "spaces", 1, false, "ops/colour.TestTablesAreCorrectlyRounded", "ops/colour.TestBuiltinsAreMadeOfPublishedNumbers"},
	}, statements()...)
})

// statements are those of language version 1, by state.
func statements() (out []Piece) {
	const drafts = `recipe; title; rights; round; master; picture; paper; lab; mask; prepare; steps; print; inputs; a line of inputs;
		profile, in a paper; intent, in a paper; black-point, in a paper;
		takes, in a lab; space, in a lab; resolution, in a lab; bits, in a lab; largest, in a lab;
		stroke; ellipse; rectangle; polygon; gradient; range; edges; file; mask, in a mask; invert; soften;
		turn; mirror; crop; convert; spot; fringe; denoise; enlarge; take; follow; blend; sharpen; grain; mix; tint; tone;
		exposure, in a tone; curve, in a tone; contrast, in a tone; local, in a tone; warmth, in a tone; chroma, in a tone; muted, in a tone;
		border; wrap; edition; size; save; sheet; size, in a sheet; simulate; show; section; strip; ring; wedge`
	const frozen = ``
	for i, list := range []string{drafts, frozen} {
		for name := range strings.SplitSeq(list, ";") {
			if name = strings.TrimSpace(name); name != "" {
				out = append(out, Piece{Kind: "statement", Name: name, Version: 1, Frozen: i == 1})
			}
		}
	}
	return out
}

// Pieces are all pieces, those of each kind together.
func Pieces() []Piece { return pieces() }

// Find finds a piece by what String gives.
func Find(name string) (Piece, bool) {
	for _, p := range pieces() {
		if p.String() == name {
			return p, true
		}
	}
	return Piece{}, false
}

// TestOnlyBecome plays another engine, with other vectors and another table, and
// returns what undoes that. Not safe beside running builds.
func TestOnlyBecome(otherList []byte, other []Piece) (undo func()) {
	oldList, old := list, pieces
	list, pieces = otherList, func() []Piece { return other }
	return func() { list, pieces = oldList, old }
}
