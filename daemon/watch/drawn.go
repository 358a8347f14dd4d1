package watch

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"

	"meltwarden/daemon/console"
)

// Drawn shows on a terminal what lines says, again every so often, until the context ends
// or somebody leaves: by the key that leaves, or Ctrl-C. The terminal is then as it was.
func Drawn(ctx context.Context, in, out *os.File, colours bool, every time.Duration, lines func() []console.Line) error {
	ctx, cancel := signal.NotifyContext(ctx, syscall.SIGQUIT)
	defer cancel()
	t, err := open(in, out)
	if err != nil {
		return err
	}
	defer t.restore()
	screen, look := console.NewScreen(out, colours), time.NewTicker(every)
	defer look.Stop()
	for {
		if err := screen.Draw(console.SizeOf(t.out), lines()); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case k, open := <-t.keys:
			switch {
			case !open, !k.Pasted && (k.Rune == keyLeave || k.Rune == ctrlC || k.Rune == ctrlD):
				return nil
			case k.Rune == ctrlL:
				screen.Forget()
			}
		case <-look.C:
		}
	}
}
