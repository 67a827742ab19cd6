package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"time"

	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/outlook"
	"carryside/cmd/carryside/desk"
	"carryside/cmd/carryside/jobs"
	"carryside/schedule/rules"
	"carryside/server"
	"carryside/server/scan"
	"carryside/server/signin"
)

// serveCommand serves an installation.
type serveCommand struct {
	DB string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database; a file that is not there is made."`
	doorFlags
	PagesPerSecond float64       `name:"pages-per-second" default:"20" help:"How fast each person may open pages for long, and ten times slower send forms; bursts are let through. 0: no limit."`
	SignUp         bool          `name:"sign-up" env:"-" help:"Print a one-time sign-up address though there is an administrator: when nobody knows the password any more."`
	Scanner        string        `name:"malware-scanner" placeholder:"ADDR" help:"Ask this scanner about every file before it is taken in: host and port, or the path of a socket, of clamd or what speaks like it."`
	LogFormat      string        `name:"log-format" enum:"text,json" default:"text" help:"How the log is written: text or json."`
	LogTo          string        `name:"log-to" placeholder:"HOST" help:"Send the log to this collector as well: syslog over TLS, its certificate checked."`
	LogCA          string        `name:"log-ca" placeholder:"FILE" help:"Certificates the collector's is checked against (PEM). Without it, those the machine trusts."`
	Drain          time.Duration `default:"0s" placeholder:"TIME" help:"How long to go on answering after /readyz says that the program stops, such as 10s, for a proxy that asks it."`
	Dev            string        `placeholder:"DIR" hidden:"" help:"Read templates and static files from this folder at every page."`
}

// Run serves until it is told to stop.
func (s *serveCommand) Run(ctx context.Context, p *Program) error {
	door, err := s.door()
	if err != nil {
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
		return fmt.Errorf("%s holds the demonstration's invented plants; serve another file, or start carryside demo", withoutPassword(s.DB))
	}
	if err := firstRules(ctx, db, p.Now()); err != nil {
		return err
	}
	var away *logAway
	if s.LogTo != "" {
		if away, err = newLogAway(s.LogTo, s.LogCA, p.Now); err != nil {
			return err
		}
	}
	return serveOn(ctx, p, db, serving{listen: s.Listen, door: door, pages: s.PagesPerSecond, scanner: s.Scanner, signUp: s.SignUp, now: p.Now, dev: s.Dev, hello: "Carryside serves " + withoutPassword(s.DB), logFormat: s.LogFormat, logAway: away, drain: s.Drain})
}

// serving is what a server is run with.
type serving struct {
	listen  string
	door    *door
	pages   float64 // a person may open in a second; 0: no limit
	scanner string  // address; "": none
	signUp  bool    // print a sign-up address in any case
	now     func() time.Time
	dev     string
	hello   string

	logFormat string
	logAway   *logAway      // nil: the log stays here
	drain     time.Duration // between saying that it stops and stopping
}

// serveOn listens, says its address, evaluates the rules beside the screens and stops in order: it says that it is not
// ready, lets requests under way end, then the evaluation; the caller closes the database.
func serveOn(ctx context.Context, p *Program, db *plantdb.DB, s serving) error {
	defer serveRoom.use()()
	var told io.Writer = p.Stderr
	if s.logAway != nil {
		told = io.MultiWriter(p.Stderr, s.logAway)
		sending, stopSending := context.WithCancel(context.WithoutCancel(ctx))
		go s.logAway.run(sending, p.Stderr)
		defer func() { stopSending(); <-s.logAway.ended }()
	}
	log := newLog(told, s.logFormat)
	laws := new(outlook.LawBook)
	evaluator := jobs.EvaluatorWith(db, laws, log)
	front := desk.New(db, s.now, evaluator, version())
	front.ShareLaws(laws)
	config := withMachines(server.Config{Sources: front.Sources(), People: front, Now: s.now, Log: log, Door: s.door.Options, Dev: s.dev, PagesPerSecond: s.pages, LoopbackOnly: s.door.loopbackOnly, ProxyOnly: s.door.proxyOnly}, db, front)
	if s.scanner != "" {
		config.Scanner = scan.At(s.scanner)
	}
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
	open := s.door.openedBy(listener.Addr())
	fmt.Fprintf(p.Stdout, "%s\nOpen %s\n", s.hello, open)
	if err := offerSignUp(ctx, p, front, s, open); err != nil {
		return errors.Join(err, listener.Close())
	}
	running, stop := context.WithCancel(context.WithoutCancel(ctx)) // the evaluation ends after the last request
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- jobs.Run(running, db, evaluator, laws, log, s.now) }()
	failed := make(chan error, 1)
	go func() {
		if s.door.cert != "" {
			failed <- http.ServeTLS(listener, s.door.cert, s.door.key)
			return
		}
		failed <- http.Serve(listener)
	}()
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

// offerSignUp prints the address by which the first administrator signs up, while there is none. It stands on the
// terminal only: what is kept is its hash.
func offerSignUp(ctx context.Context, p *Program, front *desk.Desk, s serving, open string) error {
	if s.door.Demo {
		return nil
	}
	code, err := signin.FirstCode(ctx, front, s.now(), s.signUp)
	if err != nil || code == "" {
		return err
	}
	fmt.Fprintf(p.Stdout, "Sign up as administrator, once and within 24 hours: %s\n", open+signin.JoinPath+code)
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
