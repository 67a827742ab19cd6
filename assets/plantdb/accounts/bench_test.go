package accounts_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb/accounts"
	"carryside/assets/plantdb/plantdbtest"
)

// BenchmarkAskingSession is what the first request of a browser in five seconds costs, among 10,000 sessions.
func BenchmarkAskingSession(b *testing.B) {
	db := plantdbtest.Open(b)
	now := plantdbtest.Noon.Add(time.Hour)
	door := &accounts.Door{DB: db, Now: func() time.Time { return now }}
	ctx := context.Background()
	code := assets.SignUpCode{CodeHash: "first", Purpose: assets.CodeFirst, EndsAt: assets.InstantOf(now.Add(time.Hour))}
	if err := door.MakeCode(ctx, &code); err != nil {
		b.Fatal(err)
	}
	admin, err := door.OpenFirst(ctx, code.ID, "I. Vanterel", &assets.Account{SignInName: "i.vanterel", PasswordHash: "hash", Handle: "h1"})
	if err != nil {
		b.Fatal(err)
	}
	for i := range 10_000 {
		s := assets.Session{TokenHash: fmt.Sprintf("%064x", i), PersonID: admin.ID, EndsAt: assets.InstantOf(now.Add(time.Hour))}
		if err := door.OpenSession(ctx, &s); err != nil {
			b.Fatal(err)
		}
	}
	b.ResetTimer()
	for i := range b.N {
		if _, _, _, err := door.AskingSession(ctx, fmt.Sprintf("%064x", i%10_000), assets.InstantOf(now)); err != nil {
			b.Fatal(err)
		}
	}
}
