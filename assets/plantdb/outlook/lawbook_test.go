package outlook

import (
	"testing"
	"time"

	"carryside/schedule/cohort"
)

// The book of a fleet keeps everybody's laws; the lives beside them go, those fitted longest ago first, and count once however
// often a customer is fitted anew.
func TestTheLawsOfAFleetStayWhenItsLivesDoNot(t *testing.T) {
	var b LawBook
	night := time.Date(2026, 11, 26, 1, 0, 0, 0, time.UTC)
	fitted := func(minute int) CustomerLaws {
		return CustomerLaws{At: night.Add(time.Duration(minute) * time.Minute), Lives: make([]cohort.Life, mostLives/4), Laws: make([]cohort.Law, 4)}
	}
	for customer := range int64(12) {
		b.keep(customer+1, fitted(int(customer)))
		b.keep(customer+1, fitted(int(customer)))
	}
	with := 0
	for customer := range int64(12) {
		l := b.of[customer+1]
		if len(l.Laws) != 4 {
			t.Errorf("the laws of customer %d are gone", customer+1)
		}
		if l.Lives != nil {
			with++
			if customer < 8 {
				t.Errorf("customer %d, fitted among the first, keeps its lives", customer+1)
			}
		}
	}
	if with != 4 || b.lives != mostLives {
		t.Errorf("%d customers with %d lives, want 4 with %d", with, b.lives, mostLives)
	}
	b.keep(99, CustomerLaws{At: night.Add(time.Hour), Lives: make([]cohort.Life, 2*mostLives)})
	if b.lives != 0 || b.of[99].Lives != nil {
		t.Errorf("%d lives are kept after a customer with more than the book has room for", b.lives)
	}
}
