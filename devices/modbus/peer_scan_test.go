//go:build unix

package modbus_test

import (
	"context"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/scan"
	"meltwarden/devices/serialport"
)

// scanFor looks for units at one setting: a pseudo-terminal takes any speed, and refuses
// parity.
func scanFor(t *testing.T, path string, units ...uint8) scan.Result {
	t.Helper()
	p := scan.Plan{Settings: []scan.Setting{{Baud: peerBaud, Parity: "none"}}, Units: units, Wait: 200 * time.Millisecond}
	open := func(s scan.Setting) (modbus.Port, error) {
		return serialport.Open(path, serialport.Mode{Baud: s.Baud, Parity: serialport.Parity(s.Parity), StopBits: 1})
	}
	var r scan.Result
	require.Eventually(t, func() bool {
		var err error
		r, err = scan.Run(context.Background(), p, open, clock.New(1), func(scan.Step) {})
		require.NoError(t, err)
		return len(r.Found) > 0
	}, 30*time.Second, 10*time.Millisecond)
	return r
}

// TestScanFindsAPythonPeer: independent peer pymodbus 3.0.0 (Debian 12), which refuses as a
// gateway what is asked of units that it does not have.
func TestScanFindsAPythonPeer(t *testing.T) {
	interpreter := python(t)
	near, far := line(t)
	start(t, interpreter, peers+"python_server.py", far, strconv.Itoa(peerBaud))
	theirs(t, scanFor(t, near, 16, 17, 18), "1000", "true")
}

// TestScanFindsACPeer: independent peer libmodbus 3.1.6 (Debian 12). After a request to
// another unit it does not answer any more, so it is asked for alone.
func TestScanFindsACPeer(t *testing.T) {
	server := filepath.Join(t.TempDir(), "c_server")
	out, err := exec.Command("cc", "-I/usr/include/modbus", "-o", server, peers+"c_server.c", "-lmodbus").CombinedOutput()
	if err != nil {
		without(t, "no C compiler with libmodbus: "+string(out))
	}
	near, far := line(t)
	start(t, server, far, strconv.Itoa(peerBaud))
	theirs(t, scanFor(t, near, 17), "1000", "true")
}

func theirs(t *testing.T, r scan.Result, input, coil string) {
	t.Helper()
	require.Len(t, r.Found, 1)
	assert.Equal(t, uint8(17), r.Found[0].Unit)
	says := map[uint8]string{}
	for _, a := range r.Found[0].Answers {
		says[a.Function] = a.Says
	}
	assert.Equal(t, map[uint8]string{modbus.ReadHolding: "0", modbus.ReadInput: input, modbus.ReadCoils: coil, modbus.ReadInputs: "true"}, says)
}
