package modbus

import "fmt"

// The codes with which a device refuses (application protocol specification
// V1.1b3, section 7).
const (
	IllegalFunction    uint8 = 1
	IllegalDataAddress uint8 = 2
	IllegalDataValue   uint8 = 3
	DeviceFailure      uint8 = 4
	Acknowledge        uint8 = 5
	DeviceBusy         uint8 = 6
	MemoryParity       uint8 = 8
	GatewayNoPath      uint8 = 10
	GatewayNoReply     uint8 = 11
)

var exceptionNames = map[uint8]string{
	IllegalFunction:    "illegal function",
	IllegalDataAddress: "illegal data address",
	IllegalDataValue:   "illegal data value",
	DeviceFailure:      "server device failure",
	Acknowledge:        "acknowledge: accepted, not done yet",
	DeviceBusy:         "server device busy",
	MemoryParity:       "memory parity error",
	GatewayNoPath:      "gateway path unavailable",
	GatewayNoReply:     "gateway target device failed to respond",
}

// Exception is a device's refusal.
type Exception struct{ Code uint8 }

// Error returns the specification's name for the code.
func (e Exception) Error() string {
	if name, ok := exceptionNames[e.Code]; ok {
		return fmt.Sprintf("refused: %s (exception %02d)", name, e.Code)
	}
	return fmt.Sprintf("refused: exception %02d, which the specification does not name", e.Code)
}
