package photo

import (
	"bytes"
	"encoding/binary"
)

// The parts of a JPEG file and of the Exif in it that lead to the orientation.
const (
	startOfScan   = 0xda // the picture itself: what is said of it stands before
	appOne        = 0xe1
	orientationID = 274
	entryBytes    = 12
)

// orientation is what the camera wrote down of how it was held, 1 to 8, or zero: the
// first image file directory in the Exif segment of a JPEG file (Exif 2.3, 4.5 and 4.6).
func orientation(file []byte) int {
	for at := 2; at+4 <= len(file) && file[0] == 0xff && file[at] == 0xff; {
		marker, length := file[at+1], int(binary.BigEndian.Uint16(file[at+2:]))
		if marker == startOfScan || length < 2 || at+2+length > len(file) {
			return 0
		}
		if tiff, is := bytes.CutPrefix(file[at+4:at+2+length], []byte("Exif\x00\x00")); is && marker == appOne {
			return firstDirectory(tiff)
		}
		at += 2 + length
	}
	return 0
}

// firstDirectory looks for the orientation in a TIFF header and what it points to.
func firstDirectory(tiff []byte) int {
	var order binary.ByteOrder = binary.BigEndian
	if bytes.HasPrefix(tiff, []byte("II")) {
		order = binary.LittleEndian
	}
	if len(tiff) < 8 {
		return 0
	}
	at := int(order.Uint32(tiff[4:]))
	if at < 8 || at > len(tiff)-2 {
		return 0
	}
	entries := tiff[at+2:]
	for range order.Uint16(tiff[at:]) {
		if len(entries) < entryBytes {
			return 0
		}
		if order.Uint16(entries) == orientationID {
			return int(order.Uint16(entries[8:]))
		}
		entries = entries[entryBytes:]
	}
	return 0
}
