// Package tiff reads masters from TIFF files and lays out TIFF print files.
//
// Reading promises exact samples: an accepted file gives the same 16-bit
// samples on every machine and with any number of workers, and a file whose
// meaning is doubtful is refused, never guessed. Accepted are classic TIFF and
// BigTIFF in both byte orders:
//
//   - grey (either polarity), RGB and palette colours;
//   - whole numbers of 1, 2, 4, 8, 12, 16, 24 and 32 bits, floating-point
//     numbers of 16, 24, 32 and 64 bits;
//   - alpha, straight or multiplied in, and extra data, which is passed over;
//   - strips and tiles, interleaved or as separate planes;
//   - uncompressed, LZW, Deflate and PackBits; horizontal differencing and the
//     floating point predictor.
//
// Every other property is refused with an *Error that names it and says how
// to mend the file. CMYK and Lab are refused too: a master is grey or RGB, and
// what its numbers become in RGB is for its owner to decide, not for a reader.
//
// How stored numbers become 16-bit samples:
//
//   - A whole number v of n bits becomes 65535 v / (2^n - 1), rounded half up.
//   - A floating-point number x becomes 65535 x, rounded half up; what lies
//     below 0 or above 1 is brought to 0 or 1 and counted as clipped, and what
//     is no number becomes 0 and is counted too (see Counts).
//   - A palette colour is the 16-bit entry of the file's colour map.
//   - Colours that are stored multiplied by alpha are divided by it, once, at
//     full depth and before they are brought to 16 bits; where alpha is 0 the
//     colour is 0. A colour above its alpha is clipped and counted.
//   - File.OnWhite lays a picture with alpha on paper white, in the encoded
//     values as they stand in the file: c a + (1 - a), where white is 1.
//
// The reader trusts nothing: every offset, count and product is checked
// against the size of the file before memory is set aside, unpacking stops at
// the size that the pixels need, directories that lead in a circle are
// reported, and memory in use depends on the width of the picture and the
// number of workers, not on what the file claims.
//
// Writing promises bytes that depend on the samples and the Options alone: no
// date, no program name, a fixed rule for the strips.
//
// Sources: TIFF Revision 6.0 (1992), TIFF Technical Notes 1 (SubIFDs), 2
// (Deflate) and 3 (floating point predictor, 16 and 24 bit floating point),
// the BigTIFF layout as in libtiff's specification, ICC.1 Annex B.3 (tag
// 34675).
package tiff

import "platemark/ops/codec/ifd"

// Limits on what a file may hold; see also codec.MaxSide.
const (
	maxDirs    = 1024    // directories in one file, SubIFDs included
	maxChunks  = 1 << 22 // strips or tiles of the picture
	maxSamples = 64      // samples of one pixel
	maxRow     = 1 << 25 // bytes of one stored row of a strip or tile
)

// Tags (TIFF 6.0 section 8 and others; see testdata/standards/tiff.csv), beside
// those of package ifd.
const (
	tagNewSubfileType  = 254
	tagSubfileType     = 255
	tagImageWidth      = 256
	tagImageLength     = 257
	tagBitsPerSample   = 258
	tagCompression     = 259
	tagPhotometric     = 262
	tagFillOrder       = 266
	tagStripOffsets    = 273
	tagSamplesPerPixel = 277
	tagRowsPerStrip    = 278
	tagStripByteCounts = 279
	tagPlanarConfig    = 284
	tagPredictor       = 317
	tagColorMap        = 320
	tagTileWidth       = 322
	tagTileLength      = 323
	tagTileOffsets     = 324
	tagTileByteCounts  = 325
	tagSubIFDs         = 330
	tagExtraSamples    = 338
	tagSampleFormat    = 339
	tagXMP             = 700
	tagICCProfile      = 34675
)

// tagNames are the tags that the reader looks at. All others are passed over.
var tagNames = ifd.Names{
	tagNewSubfileType:  "NewSubfileType",
	tagSubfileType:     "SubfileType",
	tagImageWidth:      "ImageWidth",
	tagImageLength:     "ImageLength",
	tagBitsPerSample:   "BitsPerSample",
	tagCompression:     "Compression",
	tagPhotometric:     "PhotometricInterpretation",
	tagFillOrder:       "FillOrder",
	tagStripOffsets:    "StripOffsets",
	ifd.Orientation:    "Orientation",
	tagSamplesPerPixel: "SamplesPerPixel",
	tagRowsPerStrip:    "RowsPerStrip",
	tagStripByteCounts: "StripByteCounts",
	ifd.XResolution:    "XResolution",
	ifd.YResolution:    "YResolution",
	tagPlanarConfig:    "PlanarConfiguration",
	ifd.ResolutionUnit: "ResolutionUnit",
	tagPredictor:       "Predictor",
	tagColorMap:        "ColorMap",
	tagTileWidth:       "TileWidth",
	tagTileLength:      "TileLength",
	tagTileOffsets:     "TileOffsets",
	tagTileByteCounts:  "TileByteCounts",
	tagSubIFDs:         "SubIFDs",
	tagExtraSamples:    "ExtraSamples",
	tagSampleFormat:    "SampleFormat",
	tagICCProfile:      "ICCProfile",
}
