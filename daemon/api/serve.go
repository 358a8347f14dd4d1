package api

import (
	"context"
	"errors"
	"net"
	"net/http"
	"time"
)

// shutdownWithin bounds the end of the server: heat is off long before it.
const shutdownWithin = 2 * time.Second

// Serve answers on l until ctx ends, then ends the streams, lets running
// requests finish for at most two seconds, and closes. It returns nil after an
// end that was asked for.
func Serve(ctx context.Context, l net.Listener, h http.Handler) error {
	srv := &http.Server{
		Handler:           h,
		BaseContext:       func(net.Listener) context.Context { return ctx }, // ends the streams
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      10 * time.Second, // a stream puts it off with every event
		IdleTimeout:       time.Minute,
		MaxHeaderBytes:    16 << 10,
	}
	closed := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(closed)
		shutdown(srv)
	})
	err := srv.Serve(l)
	if stop() { // nobody asked for the end
		return err
	}
	<-closed
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

func shutdown(srv *http.Server) {
	ctx, cancel := context.WithTimeout(context.Background(), shutdownWithin)
	defer cancel()
	if srv.Shutdown(ctx) != nil {
		srv.Close()
	}
}
