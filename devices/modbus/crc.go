package modbus

// CRC returns the CRC-16 of the Modbus serial line specification (V1.02,
// 6.2.2): preset 0xFFFF, reflected polynomial 0xA001. It is sent low byte first.
func CRC(b []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, c := range b {
		crc ^= uint16(c)
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0xA001
			} else {
				crc >>= 1
			}
		}
	}
	return crc
}

// Intact reports whether a whole frame, check included, arrived unharmed: the
// check run over it leaves zero.
func Intact(frame []byte) bool { return len(frame) >= shortest && CRC(frame) == 0 }

// seal appends the check of the frame that begins at start.
func seal(b []byte, start int) []byte {
	crc := CRC(b[start:])
	return append(b, byte(crc), byte(crc>>8))
}
