package web

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// Tokens is what the page of tokens needs: the words that programs show at the machine interface in place of a
// person signing in.
type Tokens interface {
	// TokensOf lists the tokens of a person that nobody ended, the newest first.
	TokensOf(ctx context.Context, personID int64) ([]Token, error)
	// MakeToken makes a token of whoever acts and returns it: it is kept nowhere and shown once. assets.Invalid by
	// field name.
	MakeToken(ctx context.Context, scope assets.Scope, act Act, t Token) (secret string, err error)
	// EndToken ends a token of whoever acts. assets.ErrNotFound when they have none of that number.
	EndToken(ctx context.Context, act Act, id int64) error
}

// Token is a token as its owner sees it.
type Token struct {
	ID         int64
	Name       string
	Tail       string // its last letters
	May        string
	CustomerID int64
	PlantID    int64
	MadeAt     assets.Instant
	ExpiresAt  assets.Instant
	UsedAt     assets.Instant // 0: never
}

// tokensPage answers: which programs read in my name, how far does each reach, when does each end, and how do I
// make or end one?
type tokensPage struct {
	Page
	Form   *Form
	Rows   []tokenRow
	Secret string // of the token just made; shown on this page once
	Shows  string // how a program shows it
	Blind  bool   // whoever asks sees no plant, so a token of theirs would open nothing
}

type tokenRow struct {
	ID                                       int64
	Name, Tail, May, Reach, Made, Ends, Used string
	Over                                     bool
}

// tokenRoutes are the addresses of tokens.
func tokenRoutes() []Route {
	return []Route{
		{Method: get, Path: "/tokens", May: people.KeepOwnAccount, Under: "tokens", Do: (*Site).tokenList},
		{Method: post, Path: "/tokens", May: people.KeepOwnAccount, Under: "tokens", Do: (*Site).changeTokens},
	}
}

// What a token may, in the words it is kept with.
const (
	tokenReads  = "read"
	tokenEnters = "read and readings"
)

func (s *Site) tokenList(r *Request) error {
	p, err := s.tokensPage(r)
	if err != nil {
		return err
	}
	return r.Show("tokens", p)
}

func (s *Site) tokensPage(r *Request) (*tokensPage, error) {
	if s.tokens == nil {
		return nil, assets.ErrNotFound
	}
	list, err := s.tokens.TokensOf(r.Context(), r.Who.Person.ID)
	if err != nil {
		return nil, err
	}
	plants, err := s.Plants.PlantList(r.Context(), r.Scope)
	if err != nil {
		return nil, err
	}
	p := &tokensPage{Form: tokenForm(r, plants), Blind: !r.Who.MayAnywhere(people.Read)}
	p.Sheet, p.Say = "Tokens", tokensSay(r.Now, list)
	p.Sub = "A program shows a token at the machine interface in place of a person signing in. It reaches what you reach, or less, and ends by itself."
	for _, t := range list {
		p.Rows = append(p.Rows, r.tokenRow(t, plants))
	}
	return p, nil
}

func tokensSay(now time.Time, list []Token) string {
	running := 0
	for _, t := range list {
		if t.ExpiresAt.Time().After(now) {
			running++
		}
	}
	if running == 0 {
		return "No program reads in your name"
	}
	return Capital(Count(running, "token reads", "tokens read")) + " in your name"
}

func (r *Request) tokenRow(t Token, plants []PlantSummary) tokenRow {
	row := tokenRow{ID: t.ID, Name: t.Name, Tail: t.Tail, May: tokenWords(t.May), Reach: "all that you reach", Made: r.F.Date(t.MadeAt), Ends: r.F.Date(t.ExpiresAt - 1), // its end is the midnight after its last day
		Used: "never yet", Over: !t.ExpiresAt.Time().After(r.Now)}
	if t.UsedAt != 0 {
		row.Used = r.F.Stamp(t.UsedAt)
	}
	for _, p := range plants {
		switch {
		case t.PlantID != 0 && p.Plant.ID == t.PlantID:
			row.Reach = p.Plant.Name
		case t.PlantID == 0 && t.CustomerID != 0 && p.Plant.CustomerID == t.CustomerID:
			row.Reach = "the plants of " + p.Customer
		}
	}
	if row.Reach == "all that you reach" && t.PlantID+t.CustomerID != 0 {
		row.Reach = "nothing that you reach any more"
	}
	return row
}

func tokenWords(may string) string {
	switch may {
	case tokenReads:
		return "reads"
	case tokenEnters:
		return "reads, and enters readings and standstills"
	}
	return "reads the program's own figures"
}

func tokenForm(r *Request, plants []PlantSummary) *Form {
	f := r.NewForm()
	f.Text("name", "What it is for", "").Must().Hinted("The program that will show it, e.g. control room")
	may := []Option{{Value: tokenReads, Label: "reads registry, orders and reports"}}
	if r.May(people.EnterReading) {
		may = append(may, Option{Value: tokenEnters, Label: "reads, and enters readings of hour meters and standstills"})
	}
	f.Select("may", "What it may", tokenReads, may)
	f.Select("reach", "What it reaches", "", reachOptions(plants)).Hinted("Never more than you reach yourself")
	f.Date("expires", "Last day", string(r.F.Today().AddDays(90))).Must().Hinted("Within a year")
	return f
}

func reachOptions(plants []PlantSummary) []Option {
	options := []Option{{Label: "all that I reach"}}
	var customers []int64
	for _, p := range plants {
		if !slices.Contains(customers, p.Plant.CustomerID) && p.Customer != "" {
			customers = append(customers, p.Plant.CustomerID)
			options = append(options, Option{Value: "customer " + plainInt(p.Plant.CustomerID), Label: "the plants of " + p.Customer})
		}
	}
	for _, p := range plants {
		options = append(options, Option{Value: "plant " + plainInt(p.Plant.ID), Label: p.Plant.Name})
	}
	return options
}

// changeTokens makes a token, or ends the one whose button was pressed.
func (s *Site) changeTokens(r *Request) error {
	if r.C.Request.PostForm.Has("end") {
		return s.endToken(r)
	}
	return s.makeToken(r)
}

// makeToken makes a token and shows it on the page that answers, once.
func (s *Site) makeToken(r *Request) error {
	p, err := s.tokensPage(r)
	if err != nil {
		return err
	}
	t, err := r.tokenTyped(p.Form)
	if p.Blind {
		err = assets.Invalid{"": "you see no plant, and a token of yours would open nothing; ask for a role at a plant first"}
	}
	if err == nil {
		p.Secret, err = s.tokens.MakeToken(r.Context(), r.Scope, r.act("make a token", ""), t)
	}
	if p.Form.Refused(err) {
		return r.Refill("tokens", p)
	} else if err != nil {
		return err
	}
	return s.showToken(r, p.Secret)
}

// showToken shows a token that was just made. The page is kept by no browser.
func (s *Site) showToken(r *Request, secret string) error {
	r.C.Request.PostForm = nil // the form stands empty again
	p, err := s.tokensPage(r)
	if err != nil {
		return err
	}
	p.Secret, p.Shows = secret, "Authorization: Bearer "+secret
	p.Say = "Copy the token now: it is shown once"
	r.C.Header("Cache-Control", "no-store")
	return r.show(http.StatusOK, "tokens", p)
}

func (r *Request) tokenTyped(f *Form) (Token, error) {
	e := r.entry(f)
	t := Token{Name: e.must("name", "what the token is for"), May: oneOf(e, "may", "choose what the token may from the list", tokenReads, tokenEnters)}
	if t.May == tokenEnters && !r.May(people.EnterReading) {
		e.bad.Add("may", "your role enters no readings, so neither may a token of yours")
	}
	kind, id, _ := strings.Cut(e.text("reach"), " ")
	switch kind {
	case "plant":
		t.PlantID = numberOf(id)
	case "customer":
		t.CustomerID = numberOf(id)
	}
	if kind != "" && t.PlantID+t.CustomerID <= 0 {
		e.bad.Add("reach", "choose from the list")
	}
	e.must("expires", "the last day of the token")
	if day := e.day("expires"); day != "" {
		end, err := day.End(r.F.zone())
		if err != nil {
			e.bad.Add("expires", err.Error())
		}
		t.ExpiresAt = assets.InstantOf(end)
	}
	return t, e.Err()
}

func (s *Site) endToken(r *Request) error {
	if s.tokens == nil {
		return assets.ErrNotFound
	}
	id := numberOf(r.C.Request.PostForm.Get("end"))
	if err := s.tokens.EndToken(r.Context(), r.act("end a token", ""), id); err != nil {
		return err
	}
	return r.Done("/tokens", "The token is ended: a program that shows it is refused from now on.")
}
