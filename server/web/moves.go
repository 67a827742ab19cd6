package web

import (
	"cmp"
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

// Moves are what a change moves at the plants that use what changes and may be seen by whoever asks.
type Moves struct {
	Rows   []Move
	Plants int      // that use it
	Left   []string // plants that could not be reckoned in time
}

// Move is one splice, or one belt as a whole, whose forecast a change moves.
type Move struct {
	PlantID       int64
	Plant, Name   string
	SpliceID      int64 // 0: a belt
	ConveyorID    int64 // of a belt
	Before, After due.Forecast
}

// movesPart is what saving would move.
type movesPart struct {
	Head   string
	Plants []plantMoves
	Rows   []moveRow
	Rest   []moveRow // those that move less
	More   string
	Note   string
}

// plantMoves is how much moves at one plant.
type plantMoves struct{ Name, Dates, Others, Farthest string }

type moveRow struct{ Name, Plant, To, Before, After, By, Reason string }

// errAskFirst says that a form comes back once with what saving would move.
var errAskFirst = errors.New("what saving moves is shown first")

// movesShown is how many of the moves stand open, the largest; movesFolded how many of the others are listed below.
const (
	movesShown  = 12
	movesFolded = 1000
)

// movesSeen is the hidden field that says which moves were shown.
const movesSeen = "moves_seen"

// askFirst shows what a change moves, unless that was shown already and is still so. Where nothing moves nothing is asked.
func (s *Site) askFirst(r *Request, p *formPage, change LifeChange) error {
	moves, err := s.Lives.WhatMoves(r.Context(), r.Scope, r.PlantID(), r.Now, change)
	if err != nil || len(moves.Rows) == 0 && len(moves.Left) == 0 {
		return err
	}
	seen := r.fingerprint(moves)
	if r.C.Request.PostForm.Get(movesSeen) == seen {
		return nil
	}
	p.Moves = r.movesPart(moves)
	p.Form.Hidden(movesSeen, "").Value = seen
	return errAskFirst
}

// fingerprint tells one outcome from another by the days before and after. Where the time did not suffice for every plant, it
// may not suffice for the same ones again: then what moves at the plant looked at tells.
func (r *Request) fingerprint(m *Moves) string {
	sum := sha256.New()
	for _, one := range m.Rows {
		if len(m.Left) == 0 || one.PlantID == r.PlantID() {
			fmt.Fprintln(sum, one.PlantID, one.SpliceID, one.ConveyorID, one.Before.Advice.Day, one.After.Advice.Day, one.After.Best.Words)
		}
	}
	return hex.EncodeToString(sum.Sum(nil)[:8])
}

// movesPart makes the tables: each plant with its counts, and every move, the largest first.
func (r *Request) movesPart(m *Moves) *movesPart {
	part := &movesPart{Head: "Saving this moves the forecast of " + movedWords(m.Rows), Plants: movedPlants(m.Rows), Note: movesNote(m)}
	if len(part.Plants) > 1 {
		part.Head += " at " + Figure(len(part.Plants), "plant", "plants")
	}
	rows := slices.Clone(m.Rows)
	slices.SortStableFunc(rows, func(a, b Move) int { return cmp.Compare(b.far(), a.far()) })
	for i, m := range rows[:min(len(rows), movesShown+movesFolded)] {
		to := at(m.PlantID, "splices", m.SpliceID)
		if m.SpliceID == 0 {
			to = at(m.PlantID, "conveyors", m.ConveyorID)
		}
		row := moveRow{Name: m.Name, Plant: m.Plant, To: to, Before: r.adviceWords(m.Before), After: r.adviceWords(m.After),
			By: m.byWords(), Reason: pick(m.After.Advice.Reason == "", "nothing sets a date: "+m.After.Best.Words, m.After.Advice.Reason)}
		if i < movesShown {
			part.Rows = append(part.Rows, row)
		} else {
			part.Rest = append(part.Rest, row)
		}
	}
	if n := len(rows) - movesShown - movesFolded; n > 0 {
		part.More = "And " + Count(n, "smaller move", "smaller moves") + " beyond these lists."
	}
	return part
}

// movesNote says how far what is shown reaches.
func movesNote(m *Moves) string {
	note := "Nothing is saved yet. "
	if m.Plants > 1 {
		note += "Reckoned for the " + Figure(m.Plants-len(m.Left), "plant", "plants") + " you may see that use it. "
	}
	if len(m.Left) > 0 {
		note += "Not reckoned, for want of time: " + List(m.Left[:min(len(m.Left), 10)])
		if n := len(m.Left) - 10; n > 0 {
			note += fmt.Sprintf(" and %d more", n)
		}
		note += ". "
	}
	return note + "Plants outside your grants that use it move too."
}

// movedWords counts splices and belts.
func movedWords(rows []Move) string {
	belts := 0
	for _, m := range rows {
		belts += b2i(m.SpliceID == 0)
	}
	words := Figure(len(rows)-belts, "splice", "splices")
	switch {
	case belts == len(rows) && belts > 0:
		return Figure(belts, "belt", "belts")
	case belts > 0:
		return words + " and " + Figure(belts, "belt", "belts")
	}
	return words
}

// movedPlants counts what moves plant by plant, in the order they were reckoned in.
func movedPlants(rows []Move) []plantMoves {
	var out []plantMoves
	for start := 0; start < len(rows); {
		end := start
		for end < len(rows) && rows[end].PlantID == rows[start].PlantID {
			end++
		}
		dates, most := 0, rows[start]
		for _, m := range rows[start:end] {
			dates += b2i(m.Before.Advice.Day != m.After.Advice.Day)
			if m.far() > most.far() {
				most = m
			}
		}
		out = append(out, plantMoves{Name: rows[start].Plant, Dates: Int(int64(dates)), Others: Int(int64(end - start - dates)), Farthest: most.Name + ": " + most.byWords()})
		start = end
	}
	return out
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
	// WhatMoves returns the live splices and belts whose recommended date, best age or due band a change would move, at every
	// plant in scope that uses what changes, plant by plant.
	WhatMoves(ctx context.Context, scope assets.Scope, plantID int64, now time.Time, change LifeChange) (*Moves, error)
}
