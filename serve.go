package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"shoalbook/api"
	"shoalbook/postgres"
)

// When the service is told to end, /readyz says so for a moment before no more
// connections are taken, so that a proxy in front can send requests elsewhere.
// Requests that are being answered then have until the end of the drain.
const (
	notice = time.Second
	drain  = 10 * time.Second // with the notice
)

// wrongTokens is how many requests a minute may come from one address with tokens that
// do not hold; a phone with an old one does not need more.
const wrongTokens = 60

var errDraining = errors.New("the service is ending")

type serve struct{}

// Run serves until the context ends.
func (serve) Run(ctx context.Context, s *Settings, log *slog.Logger) error {
	store, warning, err := open(ctx, s)
	if err != nil {
		return err
	}
	defer store.Close()
	if warning != "" {
		log.WarnContext(ctx, warning)
	}
	listener, err := net.Listen("tcp", s.Listen)
	if err != nil {
		return err
	}
	return serveStore(ctx, s, log, store, listener)
}

// serveStore serves a store until the context ends.
func serveStore(ctx context.Context, s *Settings, log *slog.Logger, store *postgres.Store, listener net.Listener) error {
	var draining atomic.Bool
	handler, err := api.New(store, api.Config{
		Log: log,
		Ready: func(ctx context.Context) error {
			if draining.Load() {
				return errDraining
			}
			return store.Ping(ctx)
		},
		Load:    store.Load,
		Metrics: s.Metrics,
		Rates:   api.Rates{PerToken: s.RatePerToken, PerCoop: s.RatePerCoop, Wrong: wrongTokens, AtOnce: max(1, int(s.DatabaseConns)/4)},
		Origins: listed(s.CORSOrigins),
		Proxies: listed(s.Proxies),
	})
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	if s.SealEvery > 0 {
		serving, stop := context.WithCancel(ctx)
		var sealing sync.WaitGroup
		sealing.Go(func() { sealRegularly(serving, store, s.SealEvery, log) })
		defer sealing.Wait() // the store is closed after
		defer stop()
	}
	log.InfoContext(ctx, "serving", slog.String("address", listener.Addr().String()))
	err = serveUntil(ctx, listener, handler, log, func() { draining.Store(true) })
	log.InfoContext(ctx, "ended")
	return err
}

// listed reads a list between commas.
func listed(text string) []string {
	return strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ' ' })
}

// serveUntil serves until the context ends, then calls ending and drains.
func serveUntil(ctx context.Context, listener net.Listener, handler http.Handler, log *slog.Logger, ending func()) error {
	server := api.NewHTTPServer(handler)
	server.ErrorLog = slog.NewLogLogger(log.Handler(), slog.LevelWarn)
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(listener) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	ending()
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), drain)
	defer cancel()
	time.Sleep(notice)
	if err := server.Shutdown(ctx); err != nil {
		return errors.Join(fmt.Errorf("some requests were not answered in %v: %w", drain, err), server.Close())
	}
	return nil
}
