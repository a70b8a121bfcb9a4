package master

import "platemark/interp/interptest"

var (
	write       = interptest.Write
	read        = interptest.Read
	writeMaster = interptest.WriteMaster
	jpegFile    = interptest.JPEG
	jpegSegment = interptest.JPEGSegment
	exifOf      = interptest.Exif
	pngWith     = interptest.PNG
	withChunk   = interptest.Chunk
	decodeFile  = interptest.Decode
)
