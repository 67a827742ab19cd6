package machine

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/tokens"
	"carryside/server/api"
	"carryside/server/signin"
	"carryside/server/web"
)

// Keys knows the tokens of an installation.
type Keys struct {
	db  *plantdb.DB
	log *slog.Logger
}

var (
	_ api.Keys   = Keys{}
	_ web.Tokens = Keys{}
)

// NewKeys returns the tokens of a database.
func NewKeys(db *plantdb.DB, log *slog.Logger) Keys { return Keys{db, log} }

// Shown returns who a token stands for, with the person's grants of now narrowed to what the token is for.
func (k Keys) Shown(ctx context.Context, secret string, now time.Time) (api.Bearer, error) {
	t, err := tokens.Shown(ctx, k.db, secret)
	if err != nil {
		return api.Bearer{}, err
	}
	if !now.Before(t.ExpiresAt.Time()) {
		return api.Bearer{}, api.ErrExpired
	}
	person, err := registry.Person(ctx, k.db, t.PersonID)
	if err != nil {
		return api.Bearer{}, fmt.Errorf("the person of token %d: %w", t.ID, err)
	}
	grants, err := k.grants(ctx, t, assets.InstantOf(now))
	if err != nil {
		return api.Bearer{}, err
	}
	k.noteUse(ctx, t.ID, now)
	return api.Bearer{Who: signin.Who{Person: person, Grants: grants}, TokenID: t.ID, TokenName: t.Name, May: api.May(t.May)}, nil
}

// patience is how long a request waits for its token's use to be written down: reading must go on while a long import
// writes, or while the disk is full.
const patience = 250 * time.Millisecond

func (k Keys) noteUse(ctx context.Context, tokenID int64, now time.Time) {
	short, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	if err := tokens.NoteUse(short, k.db, tokenID, assets.InstantOf(now)); err != nil {
		k.log.WarnContext(ctx, "use of a token is not written down", "token", tokenID, "error", err)
	}
}

// grants are the person's grants in force as far as the token goes.
func (k Keys) grants(ctx context.Context, t tokens.Token, at assets.Instant) ([]assets.Grant, error) {
	all, err := registry.GrantsOf(ctx, k.db, t.PersonID, at)
	if err != nil || t.CustomerID == 0 && t.PlantID == 0 {
		return all, err
	}
	plants, err := registry.Plants(ctx, k.db, assets.ScopeOf(all))
	if err != nil {
		return nil, err
	}
	customerOf := make(map[int64]int64, len(plants))
	for _, p := range plants {
		customerOf[p.ID] = p.CustomerID
	}
	return narrow(all, t.CustomerID, t.PlantID, customerOf), nil
}

// narrow keeps of grants what lies in a plant, or in a customer where no plant is named; customerOf knows the plants
// the grants reach. What a grant gives beyond is left out, what it does not give is never added.
func narrow(grants []assets.Grant, customerID, plantID int64, customerOf map[int64]int64) []assets.Grant {
	if plantID != 0 {
		customerID = customerOf[plantID]
	}
	var out []assets.Grant
	for _, g := range grants {
		switch {
		case g.PlantID != 0 && g.PlantID != plantID && (plantID != 0 || customerOf[g.PlantID] != customerID):
			continue
		case g.PlantID == 0 && g.CustomerID != 0 && g.CustomerID != customerID:
			continue
		case customerID == 0:
			continue // the plant is not reached any more
		}
		if g.PlantID == 0 {
			g.CustomerID, g.PlantID = customerID, plantID
		}
		out = append(out, g)
	}
	return out
}

// TokensOf lists the tokens of a person, the newest first.
func (k Keys) TokensOf(ctx context.Context, personID int64) ([]web.Token, error) {
	rows, err := tokens.Of(ctx, k.db, personID)
	out := make([]web.Token, len(rows))
	for i, t := range rows {
		out[i] = web.Token{ID: t.ID, Name: t.Name, Tail: t.Tail, May: t.May, CustomerID: t.CustomerID, PlantID: t.PlantID,
			MadeAt: t.MadeAt, ExpiresAt: t.ExpiresAt, UsedAt: t.UsedAt}
	}
	return out, err
}

// MakeToken makes a token of whoever acts and returns it: it can be shown once.
func (k Keys) MakeToken(ctx context.Context, scope assets.Scope, a web.Act, t web.Token) (secret string, err error) {
	if t.PlantID != 0 {
		if err := k.db.Reach(ctx, scope, t.PlantID); err != nil {
			return "", notYours(err, "plant")
		}
	}
	if t.CustomerID != 0 {
		if _, err := registry.Customer(ctx, k.db, scope, t.CustomerID); err != nil {
			return "", notYours(err, "customer")
		}
	}
	row := tokens.Token{PersonID: a.PersonID, Name: t.Name, May: t.May, CustomerID: t.CustomerID, PlantID: t.PlantID, ExpiresAt: t.ExpiresAt}
	err = k.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) (err error) {
		secret, err = tokens.Make(c, &row)
		return err
	})
	return secret, err
}

// notYours says of a choice that it is none; what is not reached looks like what is not there.
func notYours(err error, what string) error {
	if errors.Is(err, assets.ErrNotFound) {
		return assets.Invalid{"reach": "choose a " + what + " from the list"}
	}
	return err
}

// EndToken ends a token of whoever acts.
func (k Keys) EndToken(ctx context.Context, a web.Act, id int64) error {
	return k.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error { return tokens.End(c, a.PersonID, id) })
}

// ofCompany is an act on what belongs to the company.
func ofCompany(a web.Act) plantdb.Act {
	return plantdb.Act{PersonID: a.PersonID, Origin: plantdb.Screen, Action: a.Action, Reason: a.Reason, Now: a.Now, Company: true}
}
