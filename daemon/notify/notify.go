// Package notify sends short messages to people who are not at the bench, through
// the services the bench file names: that heat was cut, that somebody is missed at
// a hot bench, that a line is lost or back, that all is ready to pour. It is an extra:
// gloves and lock screens are between a message and a hand, and no answer comes back.
// What can not be sent is tried again, then counted and told; nothing waits for it.
package notify

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nicholas-fedor/shoutrrr"
	"github.com/nicholas-fedor/shoutrrr/pkg/types"
)

const (
	// waiting is how many messages may wait; more at once are a flood that nobody
	// reads, and are dropped and counted.
	waiting = 8
	// apart is the least time between two messages (C).
	apart = 10 * time.Second
)

// tries are the pauses before each further try of a message (C).
var tries = []time.Duration{5 * time.Second, 30 * time.Second}

// Notifier sends messages one after the other.
type Notifier struct {
	send    func(string) error
	queue   chan string
	sent    atomic.Uint64
	dropped atomic.Uint64
	mu      sync.Mutex
	failing error
}

// New returns a notifier for the services that the addresses name, in the notation
// of the notification library. Its error never shows an address: there are secrets
// in it.
func New(addresses []string) (*Notifier, error) {
	for i, a := range addresses {
		if _, err := shoutrrr.CreateSender(a); err != nil {
			return nil, fmt.Errorf("daemon.notify[%d]: not an address of a service that is known; write one like generic+https://host/path", i+1)
		}
	}
	router, err := shoutrrr.NewSender(log.New(io.Discard, "", 0), addresses...)
	if err != nil {
		return nil, errors.New("daemon.notify: these addresses can not be used together")
	}
	return newNotifier(func(message string) error {
		return withoutSecrets(router.Send(message, &types.Params{}))
	}), nil
}

// withoutSecrets says which services failed, without a word of the library's: it
// quotes addresses, and there are secrets in them.
func withoutSecrets(answers []error) error {
	var errs []error
	for i, err := range answers {
		if err != nil {
			errs = append(errs, fmt.Errorf("service %d of daemon.notify could not be reached, or did not take the message", i+1))
		}
	}
	return errors.Join(errs...)
}

func newNotifier(send func(string) error) *Notifier {
	return &Notifier{send: send, queue: make(chan string, waiting)}
}

// Tell hands over a message. It does not wait. The time goes with it, since it may
// arrive late; where too many wait, the oldest makes room.
func (n *Notifier) Tell(message string) {
	message = time.Now().Format("15:04 ") + message
	for {
		select {
		case n.queue <- message:
			return
		default:
		}
		select {
		case <-n.queue:
			n.dropped.Add(1)
		default:
		}
	}
}

// Run sends until the context ends. failed hears of every message that was given
// up.
func (n *Notifier) Run(ctx context.Context, failed func(error)) {
	for {
		select {
		case m := <-n.queue:
			if err := n.try(ctx, m); err != nil {
				failed(err)
			}
			if !pause(ctx, apart) {
				return
			}
		case <-ctx.Done():
			return
		}
	}
}

// try sends a message, again where that fails.
func (n *Notifier) try(ctx context.Context, message string) error {
	err := n.send(message)
	for _, wait := range tries {
		if err == nil || !pause(ctx, wait) {
			break
		}
		err = n.send(message)
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.failing = err; err != nil {
		n.dropped.Add(1)
		return err
	}
	n.sent.Add(1)
	return nil
}

// pause reports whether the time passed before the context ended.
func pause(ctx context.Context, d time.Duration) bool {
	select {
	case <-time.After(d):
		return true
	case <-ctx.Done():
		return false
	}
}

// Failing is why the last message could not be sent, or nil.
func (n *Notifier) Failing() error {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.failing
}

// Counts are the messages sent, and those given up.
func (n *Notifier) Counts() (sent, dropped uint64) { return n.sent.Load(), n.dropped.Load() }
