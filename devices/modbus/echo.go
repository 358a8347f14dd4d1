package modbus

// echo says whether a line hands the sender's own bytes back, as two-wire
// adapters may. For most requests it shows in each exchange, since the reply
// differs from the request. The reply to WriteCoil and WriteRegister is the
// request over again: there only what was learnt before tells an echo, with a
// dead device behind it, from a confirmation.
type echo uint8

const (
	echoUnknown echo = iota
	echoAbsent
	echoPresent
)

func echoSeen(seen bool) echo {
	if seen {
		return echoPresent
	}
	return echoAbsent
}

// learnEcho reads where the request is about to write, when its reply could not
// be told from an echo. Whether the read succeeds does not matter.
func (c *Client) learnEcho(d *Device, r Request) error {
	if c.echo != echoUnknown || !r.single() {
		return nil
	}
	if read := r.readBack(); !c.barred(read) {
		_, _ = c.exchange(d, read)
	}
	return c.failed
}

// afterEcho returns what was heard beyond the request's own echo, and whether all
// of that echo came. While what was heard may still become an echo, it is none of
// the reply.
func (c *Client) afterEcho(r Request) ([]byte, bool) {
	if r.single() && c.echo == echoAbsent {
		return c.heard, false
	}
	n := min(len(c.heard), len(c.sent))
	if string(c.heard[:n]) != string(c.sent[:n]) {
		return c.heard, false
	}
	return c.heard[n:], n == len(c.sent)
}
