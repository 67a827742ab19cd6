package main

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/accounts"
	"carryside/assets/plantdb/clocks"
)

// listAim is what a list page may cost.
const listAim = "10 ms CPU, 99th under 50 ms, 40 kB for 100 rows"

// screens are what a planner opens most; % stands for a conveyor.
var screens = []struct{ name, path, aim string }{
	{"Today", "", listAim}, {"belts list", "/belts", listAim}, {"belts, soonest due first", "/belts?by=due", listAim}, {"orders list", "/orders", listAim},
	{"conveyor page", "/conveyors/%", "99th under 50 ms"}, {"search", "/find?q=C01", "99th under 50 ms"},
}

// pages measures the start of a server, its pages at a small and a large plant while its first evaluation raises for
// the whole fleet, and then the same pages with nothing beside them.
func (b *bench) pages(requests int) error {
	places, err := b.places()
	if err != nil {
		return err
	}
	s, err := b.serve()
	if err != nil {
		return err
	}
	defer s.stop()
	b.table.head("server", "CPU", "wall", "", "")
	b.table.line(benchLine{what: "start", wall: millis(s.start), aim: "under 1 s"})
	client, err := b.signIn(s.base)
	if err != nil {
		return err
	}
	b.table.head("pages beside the first evaluation", "CPU", "median", "99th", "compressed")
	for _, at := range places {
		r, err := measure(client, s, at.address(s.base, ""), min(requests, 40))
		if err != nil {
			return err
		}
		line := r.line("Today, "+at.words(), "(no aim set: the evaluation takes one of the cores)")
		line.cpu = "" // the evaluation's is among it
		b.table.line(line)
	}
	if err := b.settle(s); err != nil {
		return err
	}
	b.table.head("pages, by request", "CPU", "median", "99th", "compressed")
	for _, screen := range screens {
		for _, at := range places {
			r, err := measure(client, s, at.address(s.base, screen.path), requests)
			if err != nil {
				return err
			}
			b.table.line(r.line(screen.name+", "+at.words(), screen.aim))
		}
	}
	mem, err := s.resident()
	b.table.line(benchLine{what: "server's resident memory after these", size: mebibytes(mem), aim: "under 300 MiB"})
	return err
}

// place is a plant that pages are measured at.
type place struct {
	plant, conveyor int64
	conveyors       int
}

func (p place) words() string { return fmt.Sprintf("plant of %d conveyors", p.conveyors) }

// address is a page of the plant.
func (p place) address(base, path string) string {
	return fmt.Sprintf("%s/plants/%d%s", base, p.plant, strings.ReplaceAll(path, "%", fmt.Sprint(p.conveyor)))
}

// settle waits until the evaluation that a start begins with is over: it is measured by itself.
func (b *bench) settle(s *serving) error {
	var before time.Duration
	for range 240 {
		now, err := s.cpu()
		if err != nil || now-before < 20*time.Millisecond {
			return err
		}
		before = now
		select {
		case <-b.ctx.Done():
			return b.ctx.Err()
		case <-time.After(time.Second):
		}
	}
	return nil
}

// signIn returns a client with a session of the first person who may plan everywhere. The session is written into the
// copy as sign-in writes it, so that no password is needed and none is hashed while pages are measured.
func (b *bench) signIn(base string) (*http.Client, error) {
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return nil, err
	}
	defer db.Close()
	door := &accounts.Door{DB: db, Now: time.Now}
	planner, err := firstPlanner(b.ctx, door)
	if err != nil {
		return nil, err
	}
	token, now := rand.Text(), time.Now()
	sum := sha256.Sum256([]byte(token))
	session := assets.Session{TokenHash: hex.EncodeToString(sum[:]), PersonID: planner, Way: assets.ByPassword, StartedAt: assets.InstantOf(now),
		UsedAt: assets.InstantOf(now), EndsAt: assets.InstantOf(now.Add(12 * time.Hour)), Address: "127.0.0.1", Browser: "measurement"}
	if err := door.OpenSession(b.ctx, &session); err != nil {
		return nil, err
	}
	return clientWith(base, token)
}

// firstPlanner is the first person who may plan at every plant.
func firstPlanner(ctx context.Context, door *accounts.Door) (int64, error) {
	people, err := door.SignIns(ctx)
	if err != nil {
		return 0, err
	}
	for _, p := range people {
		grants, err := door.GrantsOf(ctx, p.ID)
		if err != nil {
			return 0, err
		}
		if slices.ContainsFunc(grants, func(g assets.Grant) bool { return g.Role == assets.RolePlanner && g.CustomerID == 0 && g.PlantID == 0 }) {
			return p.ID, nil
		}
	}
	return 0, errors.New("nobody in this file plans at every plant; make a fleet with dev fleet --out FILE")
}

// clientWith is a client that shows a session's token and takes pages as they come on the wire. It fails when the
// server does not know the session.
func clientWith(base, token string) (*http.Client, error) {
	jar, err := cookiejar.New(nil)
	if err != nil {
		return nil, err
	}
	at, err := url.Parse(base)
	if err != nil {
		return nil, err
	}
	jar.SetCookies(at, []*http.Cookie{{Name: "carryside_session", Value: token, Path: "/"}})
	c := &http.Client{Jar: jar, Transport: &http.Transport{DisableCompression: true}}
	answer, err := c.Get(base + "/")
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK || strings.HasPrefix(answer.Request.URL.Path, "/signin") {
		return nil, fmt.Errorf("sign in: the server answers %s with status %d", answer.Request.URL.Path, answer.StatusCode)
	}
	return c, nil
}

// requested is what a page cost.
type requested struct {
	cpu, median, slow time.Duration // by request
	size              int64         // on the wire
}

func (r requested) line(what, aim string) benchLine {
	return benchLine{what, millis(r.cpu), millis(r.median), millis(r.slow), fmt.Sprintf("%.1f kB", float64(r.size)/1000), aim}
}

// measure asks for a page again and again and says what it cost. The first time reads the plant and is not counted.
func measure(c *http.Client, s *serving, address string, requests int) (r requested, err error) {
	if r.size, err = fetch(c, address); err != nil {
		return r, err
	}
	before, err := s.cpu()
	if err != nil {
		return r, err
	}
	times := make([]time.Duration, requests)
	for i := range times {
		began := time.Now()
		if _, err := fetch(c, address); err != nil {
			return r, err
		}
		times[i] = time.Since(began)
	}
	after, err := s.cpu()
	slices.Sort(times)
	r.cpu, r.median, r.slow = (after-before)/time.Duration(requests), times[len(times)/2], times[min(len(times)-1, len(times)*99/100)]
	return r, err
}

// fetch reads a page compressed and returns its size on the wire.
func fetch(c *http.Client, address string) (int64, error) {
	request, err := http.NewRequest(http.MethodGet, address, nil)
	if err != nil {
		return 0, err
	}
	request.Header.Set("Accept-Encoding", "gzip")
	answer, err := c.Do(request)
	if err != nil {
		return 0, err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return 0, fmt.Errorf("%s: status %d", address, answer.StatusCode)
	}
	return io.Copy(io.Discard, answer.Body)
}

// readings measures readings entered one by one, each judged, journalled and synced, and in bulk.
func (b *bench) readings() error {
	places, err := b.places()
	if err != nil {
		return err
	}
	large, conveyor := places[1].plant, places[1].conveyor
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return err
	}
	defer db.Close()
	const n = 300
	last, err := clocks.LastReadings(b.ctx, db, assets.JobScope(), conveyor, 1)
	if err != nil {
		return err
	}
	began := time.Now()
	for i := range n {
		at := last[0].At + assets.Instant(i+1)*60e6
		act := plantdb.Act{Origin: plantdb.Command, Action: "measure", Now: at.Time().Add(time.Hour), Plants: []int64{large}}
		err := db.Change(b.ctx, act, func(c *plantdb.Change) error {
			_, err := clocks.AddReading(c, clocks.Entered{ConveyorID: conveyor, At: at, ShownH: last[0].ShownH, Origin: "measurement"})
			return err
		})
		if err != nil {
			return err
		}
	}
	took := time.Since(began)
	b.table.head("readings", "CPU", "wall", "", "a second")
	b.table.line(benchLine{what: fmt.Sprintf("%d entered one by one, each synced", n), wall: seconds(took), size: fmt.Sprintf("%.0f", n/took.Seconds()), aim: "(no aim set: the disk decides)"})
	return b.inBulk(db, places[1])
}

// inBulk measures readings written in one change, without the reading and judging of a list.
func (b *bench) inBulk(db *plantdb.DB, at place) error {
	const n = 100_000
	rows := make([]assets.Reading, n)
	for i := range rows {
		rows[i] = assets.Reading{ConveyorID: at.conveyor, At: assets.Instant(i+1) * 60e6, ShownH: float64(i) / 100}
	}
	act := plantdb.Act{Origin: plantdb.Command, Action: "measure", Now: b.now.Add(48 * time.Hour), Plants: []int64{at.plant}}
	before, began := cpuOfSelf(), time.Now()
	err := db.Change(b.ctx, act, func(c *plantdb.Change) error {
		c.Compact(map[string]any{"readings": n})
		ch, err := c.PlantChain(at.plant)
		if err != nil {
			return err
		}
		return clocks.WriteReadings(c, ch, rows)
	})
	took := time.Since(began)
	b.table.line(benchLine{what: "100,000 written in one change", cpu: seconds(cpuOfSelf() - before), wall: seconds(took), size: fmt.Sprintf("%.0f", n/took.Seconds()), aim: "(part of an import within 10 s)"})
	return err
}

// imports measures the importer on files made for it.
func (b *bench) imports() error {
	b.table.head("imports into a new file", "CPU", "wall", "", "peak memory")
	conveyors, readings := filepath.Join(b.dir, "conveyors.csv"), filepath.Join(b.dir, "readings.csv")
	if err := os.WriteFile(conveyors, conveyorList(10_000), 0o600); err != nil {
		return err
	}
	if err := os.WriteFile(readings, readingList(400, 250), 0o600); err != nil {
		return err
	}
	db := filepath.Join(b.dir, "import.db")
	for _, f := range []struct{ what, file string }{{"10,000 conveyors with belts and splices", conveyors}, {"100,000 readings", readings}, {"the same 100,000 readings again", readings}} {
		u, err := b.run("import", f.file, "--db", db, "--plant", "Measured Plant", "--date-order", "ymd")
		if err != nil {
			return err
		}
		b.table.line(u.line(f.what, "within 10 s and 300 MiB"))
	}
	return nil
}

// conveyorList is a list as a plant keeps it, without traps.
func conveyorList(n int) []byte {
	var s strings.Builder
	s.WriteString("Line,Conveyor,Description,Speed (m/s),Belt type,Width (mm),Length (m),Fitted,Splice no,Splice type,Made\n")
	for i := range n {
		fmt.Fprintf(&s, "Line %d,C%05d,Conveyor %d,1.5,EP 400/3,800,%d.5,2021-03-%02d,1,stepped,2021-04-%02d\n", i/50, i+1, i+1, 40+i%60, 1+i%28, 1+i%28)
	}
	return []byte(s.String())
}

// readingList is so many daily readings of each conveyor.
func readingList(conveyors, each int) []byte {
	var s strings.Builder
	s.WriteString("Conveyor,Date,Hours\n")
	day := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range conveyors {
		for j := range each {
			fmt.Fprintf(&s, "C%05d,%s,%d.%d\n", i+1, day.AddDate(0, 0, j).Format(time.DateOnly), 1000+8*j, j%10)
		}
	}
	return []byte(s.String())
}
