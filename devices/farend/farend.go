// Package farend answers on the far end of a line as the devices on it do: it puts whole
// requests together from what comes, however it was cut. It is for tests only.
package farend

import (
	"io"
	"slices"

	"meltwarden/devices/modbus"
)

// Serve answers until the line closes. A request that came damaged is not answered, nor one
// for which there is no answer.
func Serve(line io.ReadWriter, answer func(modbus.Request) []byte) {
	var got []byte
	chunk := make([]byte, modbus.MaxFrame)
	for {
		n, err := line.Read(chunk)
		if err != nil {
			return
		}
		got = append(got, chunk[:n]...)
		for length := modbus.RequestLength(got); length > 0 && len(got) >= length; length = modbus.RequestLength(got) {
			r, err := modbus.ParseRequest(slices.Clone(got[:length]))
			got = got[length:]
			if err != nil {
				continue
			}
			if reply := answer(r); reply != nil {
				_, _ = line.Write(reply)
			}
		}
	}
}
