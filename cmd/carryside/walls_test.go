package main

import (
	"crypto/rand"
	"crypto/sha256"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/tokens"
	"carryside/cmd/carryside/desk"
	"carryside/cmd/carryside/jobs"
	"carryside/server"
	"carryside/server/api"
)

// asker is somebody who asks: a role with a grant, or nobody.
type asker struct {
	*visitor
	role  assets.Role
	grant string        // all, customer, plant; "" for nobody
	token func() string // of the machine interface; nil: none
}

// asker adds a person with a role and a grant on the home side and signs them in.
func (w *walled) asker(role assets.Role, grant string) *asker {
	w.t.Helper()
	name := string(role) + " of " + grant
	g := assets.Grant{Role: role}
	switch grant {
	case "customer":
		g.CustomerID = w.home.customer
	case "plant":
		g.PlantID = w.home.plant
	}
	w.employ(name, g)
	return &asker{visitor: w.enter(name), role: role, grant: grant, token: w.tokens(name)}
}

// tokens gives a token of the machine interface for every 80 requests: each may ask 100 times at once.
func (w *walled) tokens(name string) func() string {
	asked, secret := 0, ""
	return func() string {
		if asked%80 == 0 {
			secret = w.token(name)
		}
		asked++
		return secret
	}
}

// token makes a token of the machine interface for a person. An administrator has no plant a program could ask about.
func (w *walled) token(name string) (secret string) {
	w.t.Helper()
	var id int64
	must(w.t, w.db.SQL(w.t.Context()).Raw("SELECT id FROM people WHERE name = ?", name).Scan(&id).Error)
	act := plantdb.Act{PersonID: id, Origin: plantdb.Command, Action: "make a token", Now: plantDay.Add(50 * time.Minute), Company: true}
	must(w.t, w.db.Change(w.t.Context(), act, func(c *plantdb.Change) (err error) {
		t := tokens.Token{PersonID: id, Name: "of a test", May: string(api.MayEnter), ExpiresAt: assets.InstantOf(plantDay.AddDate(0, 1, 0))}
		secret, err = tokens.Make(c, &t)
		return err
	}))
	return secret
}

// isMachine tells whether an address is of the machine interface: a program asks there with its token.
func isMachine(path string) bool { return strings.HasPrefix(path, "/api/") }

// enter gives a person a session, as signing in would; it follows no redirects.
func (w *walled) enter(name string) *visitor {
	w.t.Helper()
	var id int64
	must(w.t, w.db.SQL(w.t.Context()).Raw("SELECT id FROM people WHERE name = ?", name).Scan(&id).Error)
	token, now := "session of "+name, plantDay.Add(time.Hour)
	s := assets.Session{TokenHash: fmt.Sprintf("%x", sha256.Sum256([]byte(token))), PersonID: id, Way: assets.ByPassword,
		StartedAt: assets.InstantOf(now), UsedAt: assets.InstantOf(now), EndsAt: assets.InstantOf(now.Add(24 * time.Hour)), Address: "127.0.0.1", Browser: "test"}
	must(w.t, desk.New(w.db, func() time.Time { return now }, nil, "test").OpenSession(w.t.Context(), &s))
	jar, err := cookiejar.New(nil)
	must(w.t, err)
	at, err := url.Parse(w.base)
	must(w.t, err)
	jar.SetCookies(at, []*http.Cookie{{Name: "carryside_session", Value: token}})
	return &visitor{w.house, &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

// serving is the configuration of carryside serve: people with accounts, the machine interface, its tokens, health.
func (w *walled) serving() server.Config {
	return w.servingAt(func() time.Time { return plantDay.Add(time.Hour) })
}

func (w *walled) servingAt(now func() time.Time) server.Config {
	log := slog.New(slog.NewTextHandler(w.t.Output(), &slog.HandlerOptions{Level: slog.LevelError}))
	front := desk.New(w.db, now, jobs.Evaluator(w.db, log), "test")
	return withMachines(server.Config{Sources: front.Sources(), People: front, Now: now, Log: log, LoopbackOnly: true}, w.db, front)
}

// employ adds a person of the service company with a grant.
func (w *walled) employ(name string, g assets.Grant) {
	w.t.Helper()
	act := plantdb.Act{Origin: plantdb.Command, Action: "add a person", Now: plantDay.Add(40 * 60e9), Company: true, Customers: []int64{w.home.customer, w.foreign.customer}}
	must(w.t, w.db.Change(w.t.Context(), act, func(c *plantdb.Change) error {
		p := assets.Person{Name: name, Role: g.Role}
		if err := registry.AddPerson(c, &p); err != nil {
			return err
		}
		g.PersonID = p.ID
		return registry.GiveGrant(c, &g)
	}))
}

// nobody asks without signing in.
func (w *walled) nobody() *asker {
	return &asker{visitor: &visitor{w.house, &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}}
}

// reply is what came back.
type reply struct {
	status int
	to     string // of a redirect
	header http.Header
	body   string
}

// machineBody is what an address of the machine interface takes: the plant's conveyor has the plant's number here.
func machineBody(path string) string {
	plant, at, _ := strings.Cut(strings.TrimPrefix(path, "/api/v1/plants/"), "/")
	switch {
	case strings.HasSuffix(at, "/end"):
		return `{"until_at":"2026-11-25T05:41:00Z"}`
	case at == "standstills":
		return `{"conveyor_id":` + plant + `,"from_at":"2026-11-24T01:10:00Z","until_at":"2026-11-24T03:40:00Z","cause":"splice"}`
	case strings.HasPrefix(at, "conveyors/"):
		return `{"at":"2026-11-25T05:41:00Z","shown_h":40}`
	}
	return `{"readings":[{"conveyor_id":` + plant + `,"at":"2026-11-25T05:41:00Z","shown_h":40}]}`
}

// ask sends one request; a POST sends the form.
func (a *asker) ask(method, path string, form url.Values) reply {
	a.t.Helper()
	body := form.Encode()
	if isMachine(path) {
		body = machineBody(path)
	}
	req, err := http.NewRequestWithContext(a.t.Context(), method, a.base+path, strings.NewReader(body))
	must(a.t, err)
	if method == http.MethodPost {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	client := a.client
	if isMachine(path) && a.token != nil {
		req.Header.Set("Content-Type", "application/json")
		client = &http.Client{CheckRedirect: a.client.CheckRedirect}
		req.Header.Set("Authorization", "Bearer "+a.token())
		req.Header.Set("Idempotency-Key", rand.Text())
	}
	res, err := client.Do(req)
	must(a.t, err)
	defer res.Body.Close()
	answer, err := io.ReadAll(res.Body)
	must(a.t, err)
	return reply{res.StatusCode, res.Header.Get("Location"), res.Header, string(answer)}
}

// without takes out of a reply the address asked for, so that two addresses can be compared.
func (r reply) without(path string) string {
	text := fmt.Sprint(r.status, " ", r.to, "\n", r.body)
	for _, p := range []string{path, url.QueryEscape(path), strings.ReplaceAll(path, "/", "%2F")} {
		text = strings.ReplaceAll(text, p, "PATH")
	}
	return text
}

// absent stands for what is nowhere.
const absent = "990001"

// values of an estate's parameters. The company's are the same for all.
func (e *estate) value(param string) string {
	switch param {
	case "spec", "kind", "recipe", "qualification", "template":
		return "1"
	case "work":
		return "re-splice.stepped.hot-vulcanised"
	case "category":
		return "edge-damage"
	case "report":
		return "splice-age"
	case "token":
		return absent
	case "file":
		return "css/carryside.css"
	case "trial":
		return "trialof" + e.mark
	case "at":
		return fmt.Sprint(int64(e.reading))
	}
	return fmt.Sprint(e.ids[param])
}

// asking is what must be asked with an address for it to answer at all.
var asking = map[string]string{"/plants/:plant/reports/make": "?report=splice-age",
	"/plants/:plant/life/lives": "?cohort=" + url.PathEscape("hot vulcanised, stepped, on belts of no known family, plain")}

// sending is what is sent with a form for it to be looked at at all.
var sending = url.Values{"day": {"2026-12-24"}}

// address fills an address's parameters with an estate's; other replaces one of them.
func (e *estate) address(path, other, value string) string {
	query := asking[path]
	for _, p := range parts(path) {
		v := e.value(p)
		if p == other {
			v = value
		}
		path = strings.NewReplacer(":"+p, v, "*"+p, v).Replace(path)
	}
	return path + query
}

// routes is the router's own list.
func (w *walled) routes() []server.Route {
	w.t.Helper()
	all, err := server.Routes(w.serving())
	must(w.t, err)
	return all
}

// walked is the part of a list of addresses that is walked.
func walked[T any](all []T) (out []T) {
	for i := 0; i < len(all); i += walkEvery {
		out = append(out, all[i])
	}
	return out
}

func TestEveryAddressHasADoor(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	known := map[string]bool{}
	for _, rt := range w.routes() {
		known[rt.Method+" "+rt.Path], known["* "+rt.Path] = true, true
		if doorOf(rt.Method, rt.Path) == "" {
			t.Errorf("%s %s: say in the table of doors which deed of the role table opens it", rt.Method, rt.Path)
		}
		for _, p := range parts(rt.Path) {
			if !slices.Contains(company, p) && p != "trial" && p != "token" && p != "at" && w.home.ids[p] == 0 {
				t.Errorf("%s %s: give the estates of this test a %s", rt.Method, rt.Path, p)
			}
		}
	}
	for door := range doors {
		if !known[door] {
			t.Errorf("the table of doors has %s, which is no address any more", door)
		}
	}
}

// TestEveryRoleAtEveryAddress walks every address as every role with every grant: at the home plant, at the sister
// plant of the same customer and at the plant of somebody else.
func TestEveryRoleAtEveryAddress(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	routes := walked(w.routes())
	asked := 0
	for role := range roleTable {
		for _, grant := range grants {
			a := w.asker(role, grant)
			for _, rt := range routes {
				if rt.Method == http.MethodHead || doorOf(rt.Method, rt.Path) == "open" {
					continue
				}
				for _, e := range []*estate{w.home, w.sister, w.foreign} {
					w.tryDoor(a, rt, e)
					asked++
				}
			}
		}
	}
	t.Logf("%d addresses, %d requests", len(routes), asked)
}

// tryDoor asks for one address of a plant and compares with the role table.
func (w *walled) tryDoor(a *asker, rt server.Route, e *estate) {
	w.t.Helper()
	path, deed := e.address(rt.Path, "", ""), doorOf(rt.Method, rt.Path)
	got := a.ask(rt.Method, path, sending)
	who := fmt.Sprintf("%s for %s: %s %s", a.role, a.grant, rt.Method, path)
	ofPlant := slices.Contains(parts(rt.Path), "plant")
	switch {
	case deed == "signed in":
		if got.status != http.StatusSeeOther || strings.HasPrefix(got.to, "/signin") {
			w.t.Errorf("%s: %d to %s, want to go on to a page", who, got.status, got.to)
		}
	case ofPlant && (!may(a.role, "reads") || !w.reaches(a.grant, e)):
		no := e.address(rt.Path, "plant", absent)
		if nowhere := a.ask(rt.Method, no, sending); got.status != http.StatusNotFound || got.without(path) != nowhere.without(no) {
			w.t.Errorf("%s: %d, want the answer of a plant that is not there (%d)", who, got.status, nowhere.status)
		}
	case isMachine(rt.Path) && !ofPlant && !may(a.role, deed): // a program of an administrator is told an empty list
		if strings.Contains(got.body, w.home.mark) || strings.Contains(got.body, fmt.Sprint(w.home.plant)) {
			w.t.Errorf("%s: %d tells of a plant", who, got.status)
		}
	case !may(a.role, deed) && deed != "own account", deed == "accounts" && a.grant != "all": // accounts are the whole company's
		if got.status != http.StatusForbidden {
			w.t.Errorf("%s: %d, want it refused: it takes '%s'", who, got.status, deed)
		}
	case got.status == http.StatusNotFound && (deed == "own account" || strings.HasSuffix(rt.Path, "/end")): // no such passkey, account, token or grant
	case !slices.Contains([]int{http.StatusOK, http.StatusSeeOther, http.StatusConflict, http.StatusUnprocessableEntity}, got.status) && got.status != http.StatusCreated:
		w.t.Errorf("%s: %d, want it open to '%s': %s", who, got.status, deed, headline(got.body))
	}
}

// headline is what a page says first.
func headline(body string) string {
	_, rest, _ := strings.Cut(body, "<h1")
	_, rest, _ = strings.Cut(rest, ">")
	say, _, _ := strings.Cut(rest, "</h1>")
	return say
}

func TestNobodySignedInGetsNothing(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	n := w.nobody()
	for _, rt := range walked(w.routes()) {
		if doorOf(rt.Method, rt.Path) == "open" {
			continue
		}
		path, no := w.home.address(rt.Path, "", ""), w.home.address(rt.Path, "plant", absent)
		got, nowhere := n.ask(rt.Method, path, nil), n.ask(rt.Method, no, nil)
		if got.status != http.StatusSeeOther && got.status != http.StatusUnauthorized || got.without(path) != nowhere.without(no) {
			t.Errorf("%s %s: %d %s, want to be asked to sign in whatever is named", rt.Method, path, got.status, got.to)
		}
	}
}

// TestThingsOfOtherPlantsAnswerAsIfTheyWereNotThere asks below the home plant's address for things of the two other
// plants: also somebody who may see all three finds them under their own plant only.
func TestThingsOfOtherPlantsAnswerAsIfTheyWereNotThere(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	tried := 0
	for _, grant := range grants {
		a := w.asker(assets.RoleLead, grant)
		for _, rt := range walked(w.routes()) {
			for _, p := range parts(rt.Path) {
				if p == "plant" || slices.Contains(company, p) {
					continue
				}
				for _, other := range []*estate{w.sister, w.foreign} {
					if p == "contract" && w.reaches(grant, other) && other == w.sister {
						continue // a contract is the customer's: it stands at each of their plants for whom may see the plants it is for
					}
					if p == "headings" && other == w.sister {
						continue // how lists are read is kept for the customer's lists
					}
					path, no := w.home.address(rt.Path, p, other.value(p)), w.home.address(rt.Path, p, absent)
					got, nowhere := a.ask(rt.Method, path, url.Values{}), a.ask(rt.Method, no, url.Values{})
					tried++
					if got.without(path) != nowhere.without(no) {
						t.Errorf("grant for %s: %s %s: %d, but %d for a %s that is not there", grant, rt.Method, path, got.status, nowhere.status, p)
					}
					if rt.Method != http.MethodPost && p != "trial" && got.status != http.StatusNotFound {
						t.Errorf("grant for %s: %s %s: %d, want 404", grant, rt.Method, path, got.status)
					}
				}
			}
		}
	}
	t.Logf("%d foreign numbers tried", tried)
}
