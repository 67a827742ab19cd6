package signin_test

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/server/signin"
)

func TestTheFirstStartOffersOneSignUp(t *testing.T) {
	h := newHall(t, signin.Options{})
	ctx := context.Background()
	earlier, err := signin.FirstCode(ctx, h.door, h.now, false)
	h.must(err)
	code, err := signin.FirstCode(ctx, h.door, h.now, false)
	h.must(err)
	b := newBrowser()
	me := signin.Joining{Name: "I. Vanterel", SignInName: "i.vanterel", Password: secret, Again: secret}
	if err := b.join(h.desk, earlier, me); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the address of the start before: %v", err)
	}
	h.must(b.join(h.desk, code, me))
	who, ok, err := h.desk.Asking(b.request("/"))
	h.must(err)
	if !ok || !who.MayAnywhere(people.KeepPeople) || !who.MayAnywhere(people.EditCatalogues) {
		t.Errorf("the first person: %v %+v", ok, who)
	}
	if all, _, _ := who.Scope().Reaches(); !all {
		t.Error("the first person sees no plant")
	}
	if again, err := signin.FirstCode(ctx, h.door, h.now, false); err != nil || again != "" {
		t.Errorf("with an administrator there, a start offers %q (%v)", again, err)
	}
	if err := newBrowser().join(h.desk, code, me); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the address is good a second time: %v", err)
	}
	lost, err := signin.FirstCode(ctx, h.door, h.now, true)
	h.must(err)
	back := newBrowser()
	me.SignInName, me.Password, me.Again = "vanterel", "pebble otter  Quill", "pebble otter  Quill"
	h.must(back.join(h.desk, lost, me))
	if h.known(h.desk, back) != who.Person.ID || h.known(h.desk, b) != 0 {
		t.Error("who lost the password is the same person again, and signed out where it was known")
	}
	h.must(newBrowser().signIn(h.desk, "i.vanterel", "pebble otter  Quill"))
}

func TestAFirstAddressIsGoodForADay(t *testing.T) {
	h := newHall(t, signin.Options{})
	code, err := signin.FirstCode(context.Background(), h.door, h.now, false)
	h.must(err)
	h.now = h.now.Add(24 * time.Hour)
	if _, err := h.desk.Offered(context.Background(), code); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("after 24 hours: %v", err)
	}
}

func TestOfTwoWhoTakeOneAddressOneGetsIn(t *testing.T) {
	h := newHall(t, signin.Options{})
	code, err := signin.FirstCode(context.Background(), h.door, h.now, false)
	h.must(err)
	offer, err := h.desk.Offered(context.Background(), code)
	h.must(err)
	errs := make([]error, 2)
	var wg sync.WaitGroup
	for i, name := range []string{"I. Vanterel", "R. Asquenne"} {
		wg.Go(func() {
			errs[i] = newBrowser().do("/join", func(w http.ResponseWriter, r *http.Request) error {
				return h.desk.Join(w, r, offer, signin.Joining{Name: name, SignInName: name, Password: secret, Again: secret})
			})
		})
	}
	wg.Wait()
	if (errs[0] == nil) == (errs[1] == nil) || !errors.Is(errors.Join(errs...), assets.ErrNotFound) {
		t.Errorf("want one in and one told that the address is gone: %v", errs)
	}
}

func TestAnInvitedPersonSetsTheirOwnPassword(t *testing.T) {
	h := newHall(t, signin.Options{})
	_, admin := h.first()
	code, p := h.invite(admin, "M. Okkerdal", assets.RoleTechnician)
	tests := []struct {
		name  string
		j     signin.Joining
		field string
	}{
		{"no name to sign in by", signin.Joining{Password: secret, Again: secret}, "sign_in_name"},
		{"somebody else's name", signin.Joining{SignInName: " I.VANTEREL ", Password: secret, Again: secret}, "sign_in_name"},
		{"seven characters", signin.Joining{SignInName: "m", Password: "gravel7", Again: "gravel7"}, "password"},
		{"the own name", signin.Joining{SignInName: "m", Password: "Okkerdal1", Again: "Okkerdal1"}, "password"},
		{"two passwords", signin.Joining{SignInName: "m", Password: secret, Again: secret + "x"}, "again"},
	}
	b := newBrowser()
	for _, tt := range tests {
		var bad assets.Invalid
		if err := b.join(h.desk, code, tt.j); !errors.As(err, &bad) || bad[tt.field] == "" || len(bad) != 1 {
			t.Errorf("%s: %v, want a message for %s", tt.name, err, tt.field)
		}
	}
	h.must(b.join(h.desk, code, signin.Joining{SignInName: "m.okkerdal", Password: secret, Again: secret}))
	if got := h.known(h.desk, b); got != p.ID {
		t.Errorf("signed in as %d, want %d", got, p.ID)
	}
	h.must(newBrowser().signIn(h.desk, "M.Okkerdal", secret))
}

func TestAnInvitationEnds(t *testing.T) {
	h := newHall(t, signin.Options{})
	_, admin := h.first()
	ctx := context.Background()
	code, p := h.invite(admin, "M. Okkerdal", assets.RoleTechnician)
	newer, row := signin.NewCode(assets.CodeInvitation, p.ID, admin, h.now)
	h.must(h.door.MakeCode(ctx, &row))
	if _, err := h.desk.Offered(ctx, code); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("an address that was replaced: %v", err)
	}
	offer, err := h.desk.Offered(ctx, newer)
	h.must(err)
	h.now = h.now.Add(72 * time.Hour)
	err = newBrowser().do("/join", func(w http.ResponseWriter, r *http.Request) error {
		return h.desk.Join(w, r, offer, signin.Joining{SignInName: "m", Password: secret, Again: secret})
	})
	if !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a page opened in time, sent after three days: %v", err)
	}
}

func TestANewPasswordEndsEverySession(t *testing.T) {
	h := newHall(t, signin.Options{})
	old, admin := h.first()
	code, row := signin.NewCode(assets.CodeNewPassword, admin, admin, h.now)
	h.must(h.door.MakeCode(context.Background(), &row))
	fresh := newBrowser()
	h.must(fresh.join(h.desk, code, signin.Joining{SignInName: "somebody.else", Password: "pebble otter  Quill", Again: "pebble otter  Quill"}))
	if h.known(h.desk, old) != 0 || h.known(h.desk, fresh) != admin {
		t.Error("the sessions of before go on")
	}
	if err := newBrowser().signIn(h.desk, "i.vanterel", secret); err == nil {
		t.Error("the old password still signs in")
	}
	h.must(newBrowser().signIn(h.desk, "i.vanterel", "pebble otter  Quill")) // the name stays
}

func TestAnInvitationGuessedIsNone(t *testing.T) {
	h := newHall(t, signin.Options{})
	h.first()
	for _, code := range []string{"", "AAAAAAAAAAAAAAAAAAAAAAAAAA", strings.Repeat("x", 4000)} {
		if _, err := h.desk.Offered(context.Background(), code); !errors.Is(err, assets.ErrNotFound) {
			t.Errorf("%.10q: %v", code, err)
		}
	}
}
