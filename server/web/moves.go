package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
)

// This file shows what a changed default or cost moves before it is saved: how many recommended dates, and the largest.

// LifeChange is a change of what forecasts rest on, not yet kept. Only what changes is set.
type LifeChange struct {
	Kind          *assets.SpliceKind
	Specification *assets.Specification
	Conveyor      *assets.Conveyor // its cost of an unplanned stop
}

// Move is one splice whose forecast a change moves.
type Move struct {
	SpliceID      int64
	Before, After due.Forecast
}

// movesPart is what saving would move.
type movesPart struct {
	Head string
	Rows []moveRow
	More string
	Note string
}

type moveRow struct{ Name, To, Before, After, By, Reason string }

// errAskFirst says that a form comes back once with what saving would move.
var errAskFirst = errors.New("what saving moves is shown first")

// movesShown is how many of the moves stand in the table, the largest.
const movesShown = 12

// movesSeen is the hidden field that says which moves were shown.
const movesSeen = "moves_seen"

// askFirst shows what a change moves, unless that was shown already and is still so. Where nothing moves nothing is asked.
func (s *Site) askFirst(r *Request, p *formPage, change LifeChange) error {
	moves, err := s.Lives.WhatMoves(r.Context(), r.Scope, r.PlantID(), r.Now, change)
	if err != nil || len(moves) == 0 {
		return err
	}
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	part := r.movesPart(viewOf(fl, r.F), moves)
	seen := part.fingerprint()
	if r.C.Request.PostForm.Get(movesSeen) == seen {
		return nil
	}
	p.Moves = part
	p.Form.Hidden(movesSeen, "").Value = seen
	return errAskFirst
}

func (m *movesPart) fingerprint() string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %v", m.Head, m.Rows))
	return hex.EncodeToString(sum[:8])
}

// movesPart makes the table, the largest moves first.
func (r *Request) movesPart(v fleetView, moves []Move) *movesPart {
	part := &movesPart{Head: "Saving this moves the forecast of " + Figure(len(moves), "splice", "splices"),
		Note: "Nothing is saved yet. Other plants that use the same default move too; this table is reckoned for " + v.Register.Plant.Name + "."}
	slices.SortStableFunc(moves, func(a, b Move) int { return int(b.far()/time.Hour) - int(a.far()/time.Hour) })
	for _, m := range moves[:min(len(moves), movesShown)] {
		st, _ := v.standing(m.SpliceID)
		part.Rows = append(part.Rows, moveRow{Name: v.spliceName(st), To: r.At("splices", m.SpliceID), Before: r.adviceWords(m.Before), After: r.adviceWords(m.After),
			By: m.byWords(), Reason: pick(m.After.Advice.Reason == "", "nothing sets a date: "+m.After.Best.Words, m.After.Advice.Reason)})
	}
	if n := len(moves) - len(part.Rows); n > 0 {
		part.More = "And " + Count(n, "smaller move", "smaller moves") + "."
	}
	return part
}

func (r *Request) adviceWords(f due.Forecast) string {
	if f.Advice.At.IsZero() {
		return "no date"
	}
	return r.F.PlainDay(f.Advice.Day)
}

// far is by how much the recommended date moves; one that comes or goes moves most.
func (m Move) far() time.Duration {
	switch a, b := m.Before.Advice.At, m.After.Advice.At; {
	case a.IsZero() != b.IsZero():
		return due.Horizon
	default:
		return b.Sub(a).Abs()
	}
}

func (m Move) byWords() string {
	a, b := m.Before.Advice.At, m.After.Advice.At
	days := int(m.far().Hours()/24 + 0.5)
	switch {
	case a.IsZero() && b.IsZero() || days == 0:
		return "best age or chance only"
	case a.IsZero():
		return "gets a date"
	case b.IsZero():
		return "loses its date"
	case b.Before(a):
		return Figure(days, "day", "days") + " earlier"
	}
	return Figure(days, "day", "days") + " later"
}

// Moving looks for what a change moves. It is part of Lives.
type Moving interface {
	// WhatMoves returns the live splices of a plant whose recommended date, best age or due band a change would move.
	WhatMoves(ctx context.Context, scope assets.Scope, plantID int64, now time.Time, change LifeChange) ([]Move, error)
}
