package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"time"
)

// aliveTime is how long the service may take to say that it is alive.
const aliveTime = 3 * time.Second

// health asks the service of these settings whether it is alive; for the health
// check of a container, which has no other program.
func health(ctx context.Context, c console, _ []string) error {
	cfg, err := LoadConfig()
	if err != nil {
		return err
	}
	url := browserURL(net.TCPAddrFromAddrPort(cfg.Listen)) + "/healthz"
	if cfg.Listen.Port() == 0 { // the running service knows which it got
		running, err := findDesk(cfg.Data)
		if err != nil {
			return err
		}
		url = browserURL(running.address()) + "/healthz"
	}
	if err := alive(ctx, url); err != nil {
		return err
	}
	fmt.Fprintln(c.out, "alive")
	return nil
}

func alive(ctx context.Context, url string) error {
	ctx, cancel := context.WithTimeout(ctx, aliveTime)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return err
	}
	client := directClient()
	defer client.CloseIdleConnections()
	res, err := client.Do(r)
	if err != nil {
		return fmt.Errorf("the service does not answer: %w", errors.Unwrap(err))
	}
	defer res.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, maxBody))
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("the service answers with status %d", res.StatusCode)
	}
	return nil
}

// directClient calls an address itself: no proxy of the environment, no
// redirect followed.
func directClient() *http.Client {
	return &http.Client{
		Transport:     &http.Transport{DialContext: (&net.Dialer{Timeout: aliveTime}).DialContext, TLSHandshakeTimeout: aliveTime},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}
