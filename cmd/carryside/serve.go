package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"time"

	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/cmd/carryside/desk"
	"carryside/cmd/carryside/jobs"
	"carryside/schedule/rules"
	"carryside/server"
)

// serveCommand serves an installation.
type serveCommand struct {
	DB           string        `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database; a file that is not there is made."`
	Listen       string        `default:"127.0.0.1:8080" placeholder:"ADDR" help:"Address to listen on. Until people sign in with accounts of their own, loopback addresses only."`
	TrustedProxy string        `name:"trusted-proxy" placeholder:"CIDR" help:"Refused until people sign in with accounts of their own."`
	LogFormat    string        `name:"log-format" enum:"text,json" default:"text" help:"How the log is written: text or json."`
	Drain        time.Duration `default:"0s" placeholder:"TIME" help:"How long to go on answering after /readyz says that the program stops, such as 10s, for a proxy that asks it."`
	Dev          string        `placeholder:"DIR" hidden:"" help:"Read templates and static files from this folder at every page."`
}

// Run serves until it is told to stop.
func (s *serveCommand) Run(ctx context.Context, p *Program) error {
	if s.TrustedProxy != "" {
		return errors.New("--trusted-proxy is refused: people have no accounts of their own yet, so only this machine may be served; leave the flag out")
	}
	if err := loopback(s.Listen); err != nil {
		return err
	}
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: s.DB, Create: true})
	if err != nil {
		return err
	}
	defer db.Close()
	demo, err := db.IsDemo(ctx)
	if err != nil {
		return err
	}
	if demo {
		return fmt.Errorf("%s holds the demonstration's invented plants; serve another file, or start carryside demo", s.DB)
	}
	if err := firstRules(ctx, db, p.Now()); err != nil {
		return err
	}
	return serveOn(ctx, p, db, serving{listen: s.Listen, now: p.Now, dev: s.Dev, hello: "Carryside serves " + s.DB, logFormat: s.LogFormat, drain: s.Drain})
}

// serving is what a server is run with.
type serving struct {
	listen string
	now    func() time.Time
	demo   bool
	dev    string
	hello  string

	logFormat string
	drain     time.Duration // between saying that it stops and stopping
}

// serveOn listens, says its address, evaluates the rules beside the screens and stops in order: it says that it is not
// ready, lets requests under way end, then the evaluation; the caller closes the database.
func serveOn(ctx context.Context, p *Program, db *plantdb.DB, s serving) error {
	log := newLog(p.Stderr, s.logFormat)
	evaluator := jobs.Evaluator(db, log)
	front := desk.New(db, s.now, evaluator, version())
	config := withMachines(server.Config{Sources: front.Sources(), People: front, Now: s.now, Log: log, Demo: s.demo, Dev: s.dev, LoopbackOnly: true}, db, front)
	handler, err := server.Handler(config)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", s.listen)
	if err != nil {
		return fmt.Errorf("cannot listen on %s: %w; choose another address with --listen", s.listen, err)
	}
	http := server.HTTP(listener.Addr().String(), handler)
	http.ErrorLog = slog.NewLogLogger(log.Handler(), slog.LevelWarn)
	fmt.Fprintf(p.Stdout, "%s\nOpen http://%s\n", s.hello, listener.Addr())
	running, stop := context.WithCancel(context.WithoutCancel(ctx)) // the evaluation ends after the last request
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- jobs.Run(running, db, evaluator, log, s.now) }()
	failed := make(chan error, 1)
	go func() { failed <- http.Serve(listener) }()
	select {
	case <-ctx.Done():
		config.Health.Stopping("it was told to stop")
		time.Sleep(s.drain)
	case err = <-failed:
	}
	err = stopServing(http, err)
	stop()
	return errors.Join(err, <-ended)
}

// stopServing lets requests under way end, for a while.
func stopServing(s *http.Server, failed error) error {
	ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
	defer cancel()
	err := s.Shutdown(ctx)
	if errors.Is(failed, http.ErrServerClosed) {
		failed = nil
	}
	return errors.Join(failed, err)
}

// loopback refuses an address that another machine could reach.
func loopback(address string) error {
	host, port, err := net.SplitHostPort(address)
	if n, bad := strconv.Atoi(port); err != nil || bad != nil || n < 0 || n > 65535 {
		return &UsageError{fmt.Sprintf("--listen %s: write an address and a port from 0 to 65535, such as 127.0.0.1:8080", address)}
	}
	if host == "localhost" {
		return nil
	}
	ip, err := netip.ParseAddr(host)
	if err != nil || !ip.IsLoopback() {
		return fmt.Errorf("--listen %s is refused: people have no accounts of their own yet, so only this machine may be served; use 127.0.0.1 or localhost", address)
	}
	return nil
}

// firstRules gives a new installation the rules a company begins with, once: each names its class and source, and a
// person edits them or switches them off.
func firstRules(ctx context.Context, db *plantdb.DB, now time.Time) error {
	given, err := db.Meta(ctx, "first_rules")
	if err != nil || given != "" {
		return err
	}
	var there int64
	if err := db.SQL(ctx).Raw("SELECT count(*) FROM rules").Scan(&there).Error; err != nil || there > 0 {
		return err // somebody made rules already
	}
	act := plantdb.Act{Origin: plantdb.Command, Action: "begin with the usual rules", Now: now, Company: true}
	if err := db.Change(ctx, act, func(c *plantdb.Change) error { return orders.SeedRules(c, rules.Defaults(now)) }); err != nil {
		return err
	}
	return db.SetMeta(ctx, "first_rules", now.UTC().Format(time.RFC3339))
}
