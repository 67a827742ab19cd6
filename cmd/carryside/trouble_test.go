package main

import (
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/tokens"
	"carryside/cmd/carryside/desk"
	"carryside/server"
)

// troubled is the whole program on the demonstration's plants, a person signed in and a program with a token, on a
// database that is about to fail.
type troubled struct {
	*house
	log   *lines
	who   *visitor
	token string
}

// openTroubled fills an empty database and serves it.
func openTroubled(t *testing.T, dsn string) *troubled {
	t.Helper()
	db, err := plantdb.Open(t.Context(), plantdb.Config{DSN: dsn, Create: true})
	must(t, err)
	d := demoCommand{}
	must(t, d.fill(t.Context(), db, plantDay))
	s := serveTroubled(t, db)
	s.who = s.as("I. Vanterel")
	s.who.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	act := plantdb.Act{Origin: plantdb.Screen, Action: "make a token", Now: plantDay, Company: true}
	must(t, db.Change(t.Context(), act, func(c *plantdb.Change) (err error) {
		k := tokens.Token{Name: "logger", May: tokens.MayReadAndEnter, ExpiresAt: assets.InstantOf(plantDay.AddDate(0, 2, 0))}
		must(t, c.Tx().Raw("SELECT id FROM people WHERE name = ?", "I. Vanterel").Scan(&k.PersonID).Error)
		s.token, err = tokens.Make(c, &k)
		return err
	}))
	return s
}

func serveTroubled(t *testing.T, db *plantdb.DB) *troubled {
	t.Helper()
	s := &troubled{log: &lines{}}
	c := houseConfig(db, slog.New(slog.NewTextHandler(s.log, nil)))
	ticks := 0
	c.Now = func() time.Time { ticks++; return plantDay.Add(time.Hour + time.Duration(ticks)*100*time.Millisecond) }
	h, err := server.Handler(withMachines(c, db, c.Sources.Plants.(*desk.Desk)))
	must(t, err)
	web := httptest.NewServer(h)
	t.Cleanup(web.Close)
	s.house = &house{t: t, db: db, base: web.URL}
	return s
}

// again serves the same people from another handle.
func (s *troubled) again(db *plantdb.DB) *troubled {
	next := serveTroubled(s.t, db)
	next.who, next.token = &visitor{next.house, s.who.client}, s.token
	return next
}

// asked is one request that needs the database.
type asked struct {
	method, path string
	program      bool // by the token, else by the session
}

// ask sends a request and returns its answer.
func (s *troubled) ask(a asked) (*http.Response, string) {
	s.t.Helper()
	var body io.Reader
	if a.method == http.MethodPost {
		body = strings.NewReader("name=x")
	}
	req, err := http.NewRequestWithContext(s.t.Context(), a.method, s.base+a.path, body)
	must(s.t, err)
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	client := s.who.client
	if a.program {
		client = http.DefaultClient
		req.Header.Set("Authorization", "Bearer "+s.token)
		if a.method == http.MethodPost {
			req.Body = io.NopCloser(strings.NewReader(`{"at": "2026-11-25T06:00:00Z", "shown_h": 1}`))
			req.ContentLength = -1
			req.Header.Set("Content-Type", "application/json")
			req.Header.Set("Idempotency-Key", fmt.Sprintf("key-%p", req))
		}
	}
	res, err := client.Do(req)
	must(s.t, err)
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	must(s.t, err)
	return res, string(text)
}

// rawWords are what drivers, files and addresses of the database look like; nobody is told them.
var rawWords = regexp.MustCompile(`(?i)sqlite|sqlstate|malformed|postgres|pgconn|dial tcp|unexpected EOF|bad connection|refused|\.db\b|127\.0\.0\.1:`)

// told holds that each request is answered 503 in a sentence, on pages and as problem documents, and the page logged.
func (s *troubled) told(sentence string, all ...asked) {
	s.t.Helper()
	for _, a := range all {
		what := fmt.Sprintf("%s %s, program %t", a.method, a.path, a.program)
		res, text := s.ask(a)
		if res.StatusCode != http.StatusServiceUnavailable || !strings.Contains(text, sentence) {
			s.t.Errorf("%s: %d %.300s; want 503 with %q", what, res.StatusCode, text, sentence)
		}
		if raw := rawWords.FindString(strings.ReplaceAll(text, s.base, "")); raw != "" {
			s.t.Errorf("%s tells %q", what, raw)
		}
		machine := a.program || strings.HasPrefix(a.path, "/api/")
		if kind := res.Header.Get("Content-Type"); machine != (kind == "application/problem+json") || !machine && !strings.HasPrefix(kind, "text/html") {
			s.t.Errorf("%s: answered as %s", what, kind)
		}
	}
}

// well holds that each request is answered as ever.
func (s *troubled) well(all ...asked) {
	s.t.Helper()
	for _, a := range all {
		if res, text := s.ask(a); res.StatusCode >= http.StatusInternalServerError || res.StatusCode == http.StatusNotFound {
			s.t.Errorf("%s %s, program %t: %d %s; log: %s", a.method, a.path, a.program, res.StatusCode, headline(text), tailOf(s.log.String()))
		}
	}
}

// tailOf is the end of a log.
func tailOf(log string) string { return log[max(0, len(log)-900):] }

// everything is what is asked first by a look at who asks, then by reads, by rows read by hand and by writes.
var everything = []asked{
	{http.MethodGet, "/plants", false}, {http.MethodGet, "/plants/1", false}, {http.MethodGet, "/plants/1/belts", false}, {http.MethodPost, "/plants/1/lines/new", false},
	{http.MethodGet, "/api/v1/plants", false}, {http.MethodGet, "/api/v1/plants", true}, {http.MethodGet, "/api/v1/plants/1/conveyors", true}, {http.MethodPost, "/api/v1/plants/1/conveyors/1/readings", true},
}

// scribbled writes over the first page of tables of a closed SQLite file, as a failing disk may.
func scribbled(t *testing.T, db *plantdb.DB, tables ...string) {
	t.Helper()
	path, size := db.Path(), int64(0)
	must(t, db.SQL(t.Context()).Raw("PRAGMA page_size").Scan(&size).Error)
	var roots []int64
	must(t, db.SQL(t.Context()).Raw("SELECT rootpage FROM sqlite_schema WHERE tbl_name IN ? AND rootpage > 0", tables).Scan(&roots).Error)
	if len(roots) < len(tables) {
		t.Fatalf("%v have the pages %v", tables, roots)
	}
	must(t, db.Close())
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	must(t, err)
	for _, root := range roots {
		_, err := f.WriteAt([]byte(strings.Repeat("scribble", int(size)/8)), (root-1)*size)
		must(t, err)
	}
	must(t, f.Close())
}

// TestADamagedFileIsToldInASentence damages what the program looks at first, then what only pages read: nobody sees a
// driver's words.
func TestADamagedFileIsToldInASentence(t *testing.T) {
	for name, tt := range map[string]struct {
		tables []string
		asked  []asked
	}{
		"who asks":       {[]string{"sessions", "api_tokens"}, everything},
		"plants":         {[]string{"plants"}, everything},
		"readings":       {[]string{"readings"}, []asked{{http.MethodGet, "/plants/1", false}, {http.MethodGet, "/api/v1/plants/1/conveyors/1/readings", true}, {http.MethodPost, "/api/v1/plants/1/conveyors/1/readings", true}}},
		"journal's head": {[]string{"chains"}, []asked{{http.MethodPost, "/api/v1/plants/1/conveyors/1/readings", true}}},
	} {
		if testing.Short() && len(tt.asked) == len(everything) {
			continue
		}
		t.Run(name, func(t *testing.T) {
			path := plantdbtest.SQLiteFile(t)
			s := openTroubled(t, path)
			s.well(everything...)
			scribbled(t, s.db, tt.tables...)
			db, err := plantdb.Open(t.Context(), plantdb.Config{DSN: path})
			must(t, err)
			defer db.Close()
			s = s.again(db)
			s.told("The disk of the database does not read or write as it should", tt.asked...)
			if log := s.log.String(); !strings.Contains(log, "is no database or is damaged; restore a backup") {
				t.Errorf("the log does not say what to do: %.600s", log)
			}
		})
	}
}

// TestAFullDiskIsToldInASentence lets SQLite have no page more than it has: what is read is shown, what is sent is refused.
func TestAFullDiskIsToldInASentence(t *testing.T) {
	s := openTroubled(t, plantdbtest.SQLiteFile(t))
	defer s.db.Close()
	most := func(pages string) {
		must(t, s.db.InTx(t.Context(), func(tx *plantdb.DB) error { return tx.SQL(t.Context()).Exec("PRAGMA max_page_count = " + pages).Error }))
	}
	most("1")
	write, full := asked{http.MethodPost, "/api/v1/plants/1/conveyors/1/readings", true}, 0
	for range 200 { // what pages have left fills first
		if res, text := s.ask(write); res.StatusCode == http.StatusServiceUnavailable {
			full++
			if !strings.Contains(text, "The disk of the database is full") || rawWords.MatchString(text) {
				t.Fatalf("a full disk is told as %s", text)
			}
			break
		}
	}
	if full == 0 {
		t.Fatal("the disk was never full")
	}
	s.well(everything[:3]...)
	if res, text := s.ask(asked{method: http.MethodGet, path: "/readyz"}); res.StatusCode != http.StatusServiceUnavailable || !strings.Contains(text, "full") {
		t.Errorf("/readyz says %d %s", res.StatusCode, text)
	}
	most("1000000")
	s.well(write)
}
