package main

import (
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
	"carryside/assets/plantdb/clocks"
)

// pages measures what a planner opens most, at a small and a large plant.
func (b *bench) pages(requests int) error {
	small, large, conveyor, err := b.places()
	if err != nil {
		return err
	}
	s, err := b.serve()
	if err != nil {
		return err
	}
	defer s.stop()
	b.row("server start", fmt.Sprintf("%.0f ms", s.start.Seconds()*1000), "under 1 s")
	client, err := signIn(s.base)
	if err != nil {
		return err
	}
	if err := b.settle(s); err != nil {
		return err
	}
	for _, p := range []struct{ name, path string }{
		{"Today", ""}, {"belts list", "/belts"}, {"belts list, soonest due first", "/belts?order=due"}, {"conveyor page", "/conveyors/%"},
		{"orders list", "/orders"}, {"search", "/find?q=C01"}} {
		for _, at := range []struct {
			size  string
			plant int64
		}{{"small", small}, {"large", large}} {
			address := fmt.Sprintf("%s/plants/%d%s", s.base, at.plant, strings.ReplaceAll(p.path, "%", fmt.Sprint(conveyor[at.plant])))
			figures, err := measure(client, s, address, requests)
			if err != nil {
				return err
			}
			b.row(p.name+", "+at.size+" plant", figures, "10 ms cpu, 99th under 50 ms, 40 kB")
			b.table.Flush()
		}
	}
	mem, err := s.resident()
	b.row("server's resident memory after these", fmt.Sprintf("%.0f MiB", mem), "under 300 MiB")
	return err
}

// settle waits until the evaluation that a start begins with is over: it is measured by itself.
func (b *bench) settle(s *serving) error {
	var before time.Duration
	for range 120 {
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

// signIn signs in as the first person who has a role.
func signIn(base string) (*http.Client, error) {
	jar, err := cookiejar.New(nil)
	if err != nil {
		return nil, err
	}
	c := &http.Client{Jar: jar, Transport: &http.Transport{DisableCompression: true}}
	answer, err := c.PostForm(base+"/signin", url.Values{"person": {"1"}})
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("sign in: status %d", answer.StatusCode)
	}
	return c, nil
}

// measure asks for a page again and again and says what it cost: the first time apart, for it reads the plant.
func measure(c *http.Client, s *serving, address string, requests int) (string, error) {
	began := time.Now()
	size, err := fetch(c, address)
	if err != nil {
		return "", err
	}
	first := time.Since(began)
	before, err := s.cpu()
	if err != nil {
		return "", err
	}
	times := make([]time.Duration, requests)
	for i := range times {
		began := time.Now()
		if _, err := fetch(c, address); err != nil {
			return "", err
		}
		times[i] = time.Since(began)
	}
	after, err := s.cpu()
	if err != nil {
		return "", err
	}
	slices.Sort(times)
	ms := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
	return fmt.Sprintf("first %.0f ms, cpu %.1f ms, median %.1f ms, 99th %.1f ms, %.1f kB", ms(first), ms(after-before)/float64(requests),
		ms(times[len(times)/2]), ms(times[min(len(times)-1, len(times)*99/100)]), float64(size)/1000), nil
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
	_, large, conveyor, err := b.places()
	if err != nil {
		return err
	}
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return err
	}
	defer db.Close()
	const n = 300
	last, err := clocks.LastReadings(b.ctx, db, assets.JobScope(), conveyor[large], 1)
	if err != nil {
		return err
	}
	began := time.Now()
	for i := range n {
		at := last[0].At + assets.Instant(i+1)*60e6
		act := plantdb.Act{Origin: plantdb.Command, Action: "measure", Now: at.Time().Add(time.Hour), Plants: []int64{large}}
		err := db.Change(b.ctx, act, func(c *plantdb.Change) error {
			_, err := clocks.AddReading(c, clocks.Entered{ConveyorID: conveyor[large], At: at, ShownH: last[0].ShownH, Origin: "measurement"})
			return err
		})
		if err != nil {
			return err
		}
	}
	b.row("readings entered one by one", fmt.Sprintf("%.0f a second", n/time.Since(began).Seconds()), "each in a transaction of its own, synced")
	return nil
}

// imports measures the importer on files made for it.
func (b *bench) imports() error {
	conveyors, readings := filepath.Join(b.dir, "conveyors.csv"), filepath.Join(b.dir, "readings.csv")
	if err := os.WriteFile(conveyors, conveyorList(10_000), 0o600); err != nil {
		return err
	}
	if err := os.WriteFile(readings, readingList(400, 250), 0o600); err != nil {
		return err
	}
	db := filepath.Join(b.dir, "import.db")
	for _, f := range []struct{ what, file string }{{"import of 10,000 conveyors with belts and splices", conveyors}, {"import of 100,000 readings", readings}, {"the same 100,000 readings again", readings}} {
		u, err := b.run("import", f.file, "--db", db, "--plant", "Measured Plant", "--date-order", "ymd")
		if err != nil {
			return err
		}
		b.row(f.what, u.String(), "within 10 s and 300 MiB")
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
