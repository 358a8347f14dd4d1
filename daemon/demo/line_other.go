//go:build !unix

package demo

// connectTerminal falls back to a pipe: there is no pseudo-terminal on this system.
func (d *Demo) connectTerminal() (opener, error) { return d.connectPipe() }
