package tokens_test

import (
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/accounts"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/tokens"
)

var company = plantdb.Act{PersonID: 7, Origin: plantdb.Screen, Action: "make a token", Now: plantdbtest.Noon, Company: true}

func newToken(t *testing.T, db *plantdb.DB, of tokens.Token) (tokens.Token, string) {
	t.Helper()
	var secret string
	err := db.Change(t.Context(), company, func(c *plantdb.Change) (err error) {
		secret, err = tokens.Make(c, &of)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return of, secret
}

func reader(person int64) tokens.Token {
	return tokens.Token{PersonID: person, Name: "control room", May: tokens.MayRead, ExpiresAt: assets.InstantOf(plantdbtest.Noon.AddDate(0, 3, 0))}
}

func TestTokenIsFoundByItsSecretUntilItIsEnded(t *testing.T) {
	db, ctx := plantdbtest.Open(t), t.Context()
	made, secret := newToken(t, db, reader(7))
	found, err := tokens.Shown(ctx, db, secret)
	if err != nil || found.ID != made.ID || found.PersonID != 7 {
		t.Fatalf("%+v, %v", found, err)
	}
	for _, wrong := range []string{"", "carryside_", secret[:len(secret)-1], secret + "A", strings.ToLower(secret), made.Hash} {
		if _, err := tokens.Shown(ctx, db, wrong); !errors.Is(err, assets.ErrNotFound) {
			t.Errorf("%q opened: %v", wrong, err)
		}
	}
	end := func(person int64) error {
		return db.Change(ctx, company, func(c *plantdb.Change) error { return tokens.End(c, person, made.ID) })
	}
	if err := end(8); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("somebody else ended it: %v", err)
	}
	if err := end(7); err != nil {
		t.Fatal(err)
	}
	if _, err := tokens.Shown(ctx, db, secret); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("an ended token opened: %v", err)
	}
	if list, err := tokens.Of(ctx, db, 7); err != nil || len(list) != 0 {
		t.Errorf("%v, %v", list, err)
	}
}

// A secret must be found nowhere in the database, its journal included.
func TestSecretIsKeptNowhere(t *testing.T) {
	db, ctx := plantdbtest.Open(t), t.Context()
	made, secret := newToken(t, db, reader(7))
	var changes string
	if err := db.SQL(ctx).Raw("SELECT group_concat(changes) FROM journal_entries").Scan(&changes).Error; err != nil {
		// PostgreSQL calls it string_agg.
		if err := db.SQL(ctx).Raw("SELECT string_agg(changes, ',') FROM journal_entries").Scan(&changes).Error; err != nil {
			t.Fatal(err)
		}
	}
	if strings.Contains(changes, secret) || strings.Contains(changes, made.Hash) {
		t.Errorf("the journal tells the token: %s", changes)
	}
	if !strings.Contains(changes, "control room") {
		t.Errorf("the journal does not tell that a token was made: %s", changes)
	}
	if len(secret) < 30 || secret[len(secret)-4:] != made.Tail {
		t.Errorf("secret %q, tail %q", secret, made.Tail)
	}
}

// Whose account is taken away, or who is erased, reads no more by a program either; a new account changes nothing.
func TestTokenEndsWithItsPersonsAccount(t *testing.T) {
	db, ctx := plantdbtest.Open(t), t.Context()
	door := accounts.Door{DB: db, Now: func() time.Time { return plantdbtest.Noon }}
	code := assets.SignUpCode{CodeHash: "c", Purpose: assets.CodeFirst, MadeAt: assets.InstantOf(plantdbtest.Noon), EndsAt: assets.InstantOf(plantdbtest.Noon.Add(time.Hour))}
	if err := door.MakeCode(ctx, &code); err != nil {
		t.Fatal(err)
	}
	p, err := door.OpenFirst(ctx, code.ID, "S. Ilveth", &assets.Account{SignInName: "ilveth", PasswordHash: "x", Handle: "h"})
	if err != nil {
		t.Fatal(err)
	}
	_, secret := newToken(t, db, reader(p.ID))
	_, other := newToken(t, db, reader(7))
	if _, err := tokens.Shown(ctx, db, secret); err != nil {
		t.Fatalf("before: %v", err)
	}
	if err := db.Change(ctx, company, func(c *plantdb.Change) error { return accounts.Erase(c, p.ID) }); err != nil {
		t.Fatal(err)
	}
	if _, err := tokens.Shown(ctx, db, secret); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("after: %v", err)
	}
	if _, err := tokens.Shown(ctx, db, other); err != nil {
		t.Errorf("somebody else's: %v", err)
	}
}

func TestTokensThatAreNotMade(t *testing.T) {
	db := plantdbtest.Open(t)
	for name, tt := range map[string]struct {
		change func(*tokens.Token)
		field  string
	}{
		"no name":               {func(k *tokens.Token) { k.Name = "  " }, "name"},
		"a novel for a name":    {func(k *tokens.Token) { k.Name = strings.Repeat("x", 81) }, "name"},
		"may everything":        {func(k *tokens.Token) { k.May = "everything" }, "may"},
		"no end":                {func(k *tokens.Token) { k.ExpiresAt = 0 }, "expires"},
		"an end that is past":   {func(k *tokens.Token) { k.ExpiresAt = assets.InstantOf(plantdbtest.Noon) }, "expires"},
		"an end in three years": {func(k *tokens.Token) { k.ExpiresAt = assets.InstantOf(plantdbtest.Noon.AddDate(3, 0, 0)) }, "expires"},
	} {
		t.Run(name, func(t *testing.T) {
			k := reader(7)
			tt.change(&k)
			err := db.Change(t.Context(), company, func(c *plantdb.Change) error { _, err := tokens.Make(c, &k); return err })
			var bad assets.Invalid
			if !errors.As(err, &bad) || bad[tt.field] == "" {
				t.Errorf("%v, want a message at %s", err, tt.field)
			}
		})
	}
}

func TestUseIsKeptToTheMinute(t *testing.T) {
	db, ctx := plantdbtest.Open(t), t.Context()
	made, _ := newToken(t, db, reader(7))
	for _, at := range []time.Duration{time.Hour, time.Hour + 30*time.Second, time.Hour + 90*time.Second, time.Minute} {
		if err := tokens.NoteUse(ctx, db, made.ID, assets.InstantOf(plantdbtest.Noon.Add(at))); err != nil {
			t.Fatal(err)
		}
	}
	list, err := tokens.Of(ctx, db, 7)
	if want := plantdbtest.Noon.Add(time.Hour + 90*time.Second); err != nil || len(list) != 1 || !list[0].UsedAt.Time().Equal(want) {
		t.Errorf("%+v, %v, want %s", list, err, want)
	}
}

// enter writes one reading under a key and says whether the answer was kept already.
func enter(t *testing.T, s *plantdbtest.Site, now time.Time, key, hash string, hours float64) (tokens.Answer, bool, error) {
	t.Helper()
	var a tokens.Answer
	var again bool
	act := s.Act(now)
	err := s.DB.Change(t.Context(), act, func(c *plantdb.Change) (err error) {
		a, again, err = tokens.Once(c, 1, key, hash, func() (int, string, error) {
			_, err := clocks.AddReading(c, clocks.Entered{ConveyorID: s.Conveyor.ID, At: assets.InstantOf(now), ShownH: hours})
			return 201, "kept", err
		})
		return err
	})
	return a, again, err
}

func TestSameKeyWritesOnce(t *testing.T) {
	s := plantdbtest.Plant(t)
	now := plantdbtest.Noon.Add(time.Hour)
	if a, again, err := enter(t, s, now, "k1", "aa", 10); err != nil || again || a.Answer != "kept" {
		t.Fatalf("%+v %v %v", a, again, err)
	}
	a, again, err := enter(t, s, now.Add(time.Minute), "k1", "aa", 10)
	if err != nil || !again || a.Status != 201 || a.Answer != "kept" {
		t.Errorf("sent again: %+v %v %v", a, again, err)
	}
	if _, _, err := enter(t, s, now, "k1", "bb", 11); !errors.Is(err, tokens.ErrOtherRequest) {
		t.Errorf("another request under the key: %v", err)
	}
	if _, _, err := enter(t, s, now.Add(time.Minute), "k2", "cc", -1); err == nil {
		t.Error("hours below nought were taken")
	}
	if a, again, err := enter(t, s, now.Add(time.Minute), "k2", "dd", 10.01); err != nil || again {
		t.Errorf("a key of a request that failed is free: %+v %v %v", a, again, err)
	}
	readings, err := clocks.Readings(t.Context(), s.DB, s.Scope, s.Conveyor.ID, clocks.Span{}, plantdb.AsOf{})
	if err != nil || len(readings) != 2 {
		t.Errorf("%d readings, %v, want 2", len(readings), err)
	}
	if _, again, err := enter(t, s, now.Add(8*24*time.Hour), "k1", "ee", 20); err != nil || again {
		t.Errorf("a key of last week is free: %v %v", again, err)
	}
}

func TestSameKeyAtOnceWritesOnce(t *testing.T) {
	s := plantdbtest.Plant(t)
	now := plantdbtest.Noon.Add(time.Hour)
	var wrote, repeated int
	var mu sync.Mutex
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			_, again, err := enter(t, s, now, "k1", "aa", 10)
			mu.Lock()
			defer mu.Unlock()
			switch {
			case err != nil:
				t.Error(err)
			case again:
				repeated++
			default:
				wrote++
			}
		})
	}
	all.Wait()
	if wrote != 1 || repeated != 7 {
		t.Errorf("%d wrote and %d were told the kept answer, want 1 and 7", wrote, repeated)
	}
}
