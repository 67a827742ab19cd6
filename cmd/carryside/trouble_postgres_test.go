//go:build postgres

package main

import (
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"carryside/assets/plantdb/plantdbtest"
)

// postgresProcess is a PostgreSQL server of the test's own, that it stops and starts.
type postgresProcess struct {
	t       *testing.T
	bin     string // folder of the server's programs
	dir     string
	port    int
	account *syscall.Credential // of the server, which refuses to run as root; nil: ours
}

// startPostgres starts a server in a folder of the test's own, from the programs beside those of the server that tests use.
func startPostgres(t *testing.T) *postgresProcess {
	t.Helper()
	_ = plantdbtest.Server(t) // who builds with the tag has a server, and so its programs
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	must(t, err)
	if onPath, err := exec.LookPath("initdb"); err == nil {
		found = append(found, onPath)
	}
	if len(found) == 0 {
		t.Fatal("initdb is not there: install PostgreSQL's server")
	}
	dir, err := os.MkdirTemp("", "carryside-postgres")
	must(t, err)
	t.Cleanup(func() { must(t, os.RemoveAll(dir)) })
	p := &postgresProcess{t: t, bin: filepath.Dir(found[0]), dir: dir}
	if os.Getuid() == 0 {
		who, err := user.Lookup("postgres")
		must(t, err)
		uid, uidErr := strconv.ParseUint(who.Uid, 10, 32)
		gid, gidErr := strconv.ParseUint(who.Gid, 10, 32)
		must(t, uidErr)
		must(t, gidErr)
		p.account = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
		must(t, os.Chown(dir, int(uid), int(gid)))
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	p.port = free.Addr().(*net.TCPAddr).Port
	must(t, free.Close())
	p.run("initdb", "-D", p.data(), "-U", "carryside", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8")
	p.start()
	t.Cleanup(func() { p.stop("immediate") })
	return p
}

func (p *postgresProcess) data() string { return filepath.Join(p.dir, "data") }

// run runs one of the server's programs to its end.
func (p *postgresProcess) run(program string, args ...string) {
	p.t.Helper()
	cmd := exec.Command(filepath.Join(p.bin, program), args...)
	cmd.Dir = p.dir
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: p.account}
	said, err := os.Create(filepath.Join(p.dir, program+".log")) // a pipe would stay open with the server
	must(p.t, err)
	defer said.Close()
	cmd.Stdout, cmd.Stderr = said, said
	if err := cmd.Run(); err != nil {
		text, _ := os.ReadFile(said.Name())
		p.t.Fatalf("%s: %v: %s", program, err, text)
	}
}

func (p *postgresProcess) start() {
	p.t.Helper()
	options := fmt.Sprintf("-p %d -c listen_addresses=127.0.0.1 -k %s -c fsync=off", p.port, p.dir)
	p.run("pg_ctl", "-D", p.data(), "-l", filepath.Join(p.dir, "data", "server.log"), "-w", "-t", "60", "-o", options, "start")
}

// stop stops the server; immediate is a crash.
func (p *postgresProcess) stop(how string) {
	p.t.Helper()
	if _, err := os.Stat(filepath.Join(p.data(), "postmaster.pid")); err == nil {
		p.run("pg_ctl", "-D", p.data(), "-m", how, "-w", "-t", "60", "stop")
	}
}

func (p *postgresProcess) address() string {
	return (&url.URL{Scheme: "postgres", User: url.User("carryside"), Host: fmt.Sprintf("127.0.0.1:%d", p.port), Path: "/postgres", RawQuery: "sslmode=disable"}).String()
}

// TestAStoppedServerIsToldInASentence stops the server while the program serves, in order and by a crash, before and in the
// middle of requests: every page and every operation says so, and all is well again when the server is there again.
func TestAStoppedServerIsToldInASentence(t *testing.T) {
	pg := startPostgres(t)
	s := openTroubled(t, pg.address())
	defer s.db.Close()
	s.well(everything...)
	for _, how := range []string{"fast", "immediate"} {
		pg.stop(how)
		s.told("The database ", everything...)
		if res, text := s.ask(asked{method: http.MethodGet, path: "/readyz"}); res.StatusCode != http.StatusServiceUnavailable || rawWords.MatchString(text) {
			t.Errorf("%s: /readyz says %d %s", how, res.StatusCode, text)
		}
		if res, text := s.ask(asked{method: http.MethodGet, path: "/healthz"}); res.StatusCode != http.StatusOK {
			t.Errorf("%s: /healthz says %d %s", how, res.StatusCode, text)
		}
		if log := s.log.String(); !strings.Contains(log, "the PostgreSQL server does not let us in; check address, account and that it runs") {
			t.Errorf("%s: the log does not say what to do: %.600s", how, log)
		}
		pg.start()
		s.wellAgain()
	}
}

// TestAServerThatStopsUnderLoadIsToldInASentence crashes the server while requests are under way: none is answered with
// more or less than a sentence, whatever the driver was doing.
func TestAServerThatStopsUnderLoadIsToldInASentence(t *testing.T) {
	pg := startPostgres(t)
	s := openTroubled(t, pg.address())
	defer s.db.Close()
	for range 3 {
		stopped := make(chan struct{})
		go func() {
			time.Sleep(300 * time.Millisecond)
			exec.Command("kill", "-QUIT", pg.pid()).Run() // the server's own quick way out (its manual, "Shutting Down the Server")
			close(stopped)
		}()
		refused := 0
		for began := time.Now(); time.Since(began) < 1500*time.Millisecond; {
			for _, a := range everything {
				res, text := s.ask(a)
				if res.StatusCode == http.StatusServiceUnavailable {
					refused++
				}
				if res.StatusCode == http.StatusInternalServerError || res.StatusCode == http.StatusServiceUnavailable && rawWords.MatchString(strings.ReplaceAll(text, s.base, "")) {
					t.Errorf("%s %s: %d %.300s; log: %s", a.method, a.path, res.StatusCode, headline(text), tailOf(s.log.String()))
				}
			}
		}
		<-stopped
		if refused == 0 {
			t.Error("nobody was refused: nothing was tried")
		}
		pg.stop("immediate")
		pg.start()
		s.wellAgain()
	}
}

// wellAgain is well for all, where connections that slept through a stop may have told of it once.
func (s *troubled) wellAgain() {
	s.t.Helper()
	for _, a := range everything {
		s.ask(a)
	}
	s.well(everything...)
}

// pid is the server's process.
func (p *postgresProcess) pid() string {
	text, err := os.ReadFile(filepath.Join(p.data(), "postmaster.pid"))
	if err != nil {
		return "0"
	}
	first, _, _ := strings.Cut(string(text), "\n")
	return first
}
