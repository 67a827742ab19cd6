package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// slowestAnswer is how long a server may take to its first answer; its life counts from there.
const slowestAnswer = 20 * time.Second

// A life is one process from its start to its kill. It runs until it is killed; what it answers is promised.

// killAfter kills a process the way the system does when memory runs out: nothing of it runs any more.
func killAfter(cmd *exec.Cmd, life time.Duration) *time.Timer {
	return time.AfterFunc(life, func() { _ = cmd.Process.Kill() })
}

// wasKilled tells whether a process that was waited for ended by our kill.
func wasKilled(cmd *exec.Cmd) bool {
	status, ok := cmd.ProcessState.Sys().(syscall.WaitStatus)
	return ok && status.Signaled() && status.Signal() == syscall.SIGKILL
}

// reading is what a meter showed, on its way to a server.
type reading struct {
	plant, conveyor int64
	at              time.Time
	shownH          float64
	key             string
}

// what is the reading in the words of the promises.
func (r reading) what() string { return fmt.Sprintf("reading %d %d", r.conveyor, r.at.UnixMicro()) }

// meterRound makes readings that follow one another, each with a moment of its own.
type meterRound struct {
	mu     sync.Mutex
	meters []reading // the newest of each meter
	n      int
	run    string // so that keys of two soaks on one database differ
}

// next is the reading after the newest of a meter: ten milliseconds later, at which the belt ran.
func (m *meterRound) next() reading {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.n++
	r := &m.meters[m.n%len(m.meters)]
	r.at = r.at.Add(10 * time.Millisecond)
	r.shownH += (10 * time.Millisecond).Hours()
	r.key = m.run + "-" + strconv.Itoa(m.n)
	return *r
}

// server is one serving process and those who send readings to it.
type server struct {
	soak   *crashSoak
	again  []reading // asked and killed before the answer: asked again in the next life
	random *rand.Rand
}

// live starts a server, sends it readings and kills it after some time.
func (s *server) live(ctx context.Context) error {
	var said bytes.Buffer
	cmd, base, err := s.soak.serve(ctx, &said)
	if err != nil {
		return err
	}
	killer := killAfter(cmd, slowestAnswer)
	defer killer.Stop()
	var begun sync.Once
	s.send(ctx, base, func() { begun.Do(func() { killer.Reset(s.soak.life(s.random)) }) })
	if err := cmd.Wait(); !wasKilled(cmd) {
		return fmt.Errorf("the server was not killed but ended: %w: %s", err, tail(said.String()))
	}
	s.soak.killed.Add(1)
	return nil
}

// serve starts a server and waits for its address.
func (s *crashSoak) serve(ctx context.Context, said io.Writer) (*exec.Cmd, string, error) {
	cmd := exec.CommandContext(ctx, s.program, "serve", "--db", s.dsn, "--listen", "127.0.0.1:0")
	cmd.Stderr = said
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, "", err
	}
	if err := cmd.Start(); err != nil {
		return nil, "", err
	}
	base, err := addressSaid(out)
	if err != nil {
		_ = cmd.Process.Kill()
		return nil, "", errors.Join(err, cmd.Wait())
	}
	go func() { _, _ = io.Copy(io.Discard, out) }()
	return cmd, base, nil
}

// addressSaid reads the address that a server says once it listens.
func addressSaid(out io.Reader) (string, error) {
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if _, address, ok := strings.Cut(lines.Text(), "Open "); ok {
			u, err := url.Parse(strings.TrimSpace(address))
			if err == nil {
				return "http://" + u.Host, nil
			}
		}
	}
	return "", errors.New("the server said no address")
}

func tail(text string) string { return text[max(0, len(text)-600):] }

// send enters readings, several at a time, until the server is gone, and tells of each answer.
func (s *server) send(ctx context.Context, base string, told func()) {
	client := &http.Client{Timeout: 20 * time.Second, Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	var all sync.WaitGroup
	var mu sync.Mutex
	asked := s.again
	s.again = nil
	for sender := range 2 {
		all.Go(func() {
			for {
				mu.Lock()
				r := reading{}
				if len(asked) > 0 {
					r, asked = asked[0], asked[1:]
				}
				mu.Unlock()
				if r.key == "" {
					r = s.soak.round.next()
				}
				answered, err := s.soak.enter(ctx, client, base, r, sender)
				if err != nil {
					s.soak.promised.doubt()
					mu.Lock()
					s.again = append(s.again, r)
					mu.Unlock()
					return
				}
				if answered {
					told()
					s.soak.promised.keep(r.what())
				}
			}
		})
	}
	all.Wait()
	s.again = append(s.again, asked...)
}

// enter posts one reading. An error is a server that is gone; any answer but 'kept' is a failure of the soak.
func (s *crashSoak) enter(ctx context.Context, client *http.Client, base string, r reading, sender int) (answered bool, err error) {
	body, err := json.Marshal(map[string]any{"at": r.at.UTC().Format(time.RFC3339Nano), "shown_h": r.shownH})
	if err != nil {
		return false, err
	}
	token := s.tokens[(s.asked.Add(1)+int64(sender))%int64(len(s.tokens))]
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, fmt.Sprintf("%s/api/v1/plants/%d/conveyors/%d/readings", base, r.plant, r.conveyor), bytes.NewReader(body))
	if err != nil {
		return false, err
	}
	request.Header.Set("Authorization", "Bearer "+token)
	request.Header.Set("Idempotency-Key", r.key)
	request.Header.Set("Content-Type", "application/json")
	answer, err := client.Do(request)
	if err != nil {
		return false, err
	}
	defer answer.Body.Close()
	said, err := io.ReadAll(answer.Body)
	if err != nil {
		return false, err
	}
	switch answer.StatusCode {
	case http.StatusCreated:
		return true, nil
	case http.StatusTooManyRequests:
		time.Sleep(100 * time.Millisecond)
	default:
		s.promised.fail("a reading was answered %d: %s", answer.StatusCode, tail(string(said)))
	}
	return false, nil
}

// clerk is a process that records findings, takes orders on and evaluates rules with the statements that the screens use.
type clerk struct {
	soak   *crashSoak
	random *rand.Rand
	lives  int
}

func (c *clerk) live(ctx context.Context) error { return c.liveFor(ctx, c.soak.life(c.random)) }

// liveFor lets a clerk work for some time and then kills the process.
func (c *clerk) liveFor(ctx context.Context, life time.Duration) error {
	c.lives++
	cmd := exec.CommandContext(ctx, c.soak.self, "soak", "crash", "--child", c.soak.dsn, "--from", c.soak.played().Format(time.RFC3339), "--seed", fmt.Sprint(c.random.Uint64()), "--run", fmt.Sprintf("%s.%d", c.soak.round.run, c.lives))
	cmd.Env = append(os.Environ(), c.soak.selfEnv...)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	lines := bufio.NewScanner(out)
	if !lines.Scan() {
		return errors.Join(fmt.Errorf("the clerk ended by itself: %s", tail(said.String())), cmd.Wait())
	}
	killer := killAfter(cmd, life)
	defer killer.Stop()
	for more := true; more; more = lines.Scan() {
		c.heard(lines.Text())
	}
	if err := cmd.Wait(); !wasKilled(cmd) {
		return fmt.Errorf("the clerk was not killed but ended: %w: %s", err, tail(said.String()))
	}
	c.soak.killed.Add(1)
	return nil
}

// heard takes in a line of the clerk; the last may be cut off by the kill and then ends without its full stop.
func (c *clerk) heard(line string) {
	line, whole := strings.CutSuffix(line, ".")
	f := strings.Fields(line)
	if !whole || len(f) < 2 {
		return
	}
	switch f[0] {
	case "at":
		if at, err := time.Parse(time.RFC3339, f[1]); err == nil {
			c.soak.play(at)
		}
	case "order":
		if edit, err := strconv.Atoi(f[2]); err == nil {
			c.soak.promised.order(f[1], edit)
		}
	default:
		c.soak.promised.keep(line)
	}
}

// importer brings small lists in with the program's own command, and kills some of them on the way.
type importer struct {
	soak   *crashSoak
	random *rand.Rand
	lists  int
}

func (i *importer) live(ctx context.Context) error {
	return i.bring(ctx, time.Duration(i.random.Int64N(int64(600*time.Millisecond))))
}

// bring imports one list; life 0 lets it finish.
func (i *importer) bring(ctx context.Context, life time.Duration) error {
	i.lists++
	var text strings.Builder
	text.WriteString("Conveyor;Belt width mm;Belt speed m/s\n")
	var tags []string
	for n := range 4 {
		tags = append(tags, fmt.Sprintf("N%s-%d-%d", strings.ToUpper(i.soak.round.run), i.lists, n))
		fmt.Fprintf(&text, "%s;1000;1.5\n", tags[n])
	}
	file := filepath.Join(i.soak.dir, "list.csv")
	if err := os.WriteFile(file, []byte(text.String()), 0o600); err != nil {
		return err
	}
	cmd := exec.CommandContext(ctx, i.soak.program, "import", file, "--db", i.soak.dsn, "--plant", i.soak.plant)
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	i.soak.promised.list(tags)
	if err := cmd.Start(); err != nil {
		return err
	}
	if life > 0 {
		killer := killAfter(cmd, life)
		defer killer.Stop()
	}
	err := cmd.Wait()
	switch {
	case err == nil:
		for _, tag := range tags {
			i.soak.promised.keep("conveyor " + tag)
		}
	case !wasKilled(cmd):
		return fmt.Errorf("the import was not killed but failed: %s", tail(said.String()))
	default:
		i.soak.killed.Add(1)
	}
	return nil
}
