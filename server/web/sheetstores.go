package web

import (
	"html/template"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
)

// pressedPart is a press cycle made for an order, as its sheet tells it.
type pressedPart struct {
	Link   Link
	Says   string
	Reason string
	Plot   template.HTML
	Judged []judgedRow
	By     assets.Recipe // in the edition it was pressed by
}

// prepared is the kit an order is placed with and the stock it takes, to be laid out before anybody leaves.
func (s *Site) prepared(r *Request, o workorder.Order) ([]Fact, error) {
	if !sheetOpen(o) {
		return nil, nil
	}
	kits, err := s.StoreBook.KitRoom(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return nil, err
	}
	var facts []Fact
	for _, id := range o.PlacedTools {
		if k, known := kits.Of(id); known {
			facts = append(facts, Fact{Capital(string(k.Class)), r.kitWords(k, kits)})
		}
		for _, k := range kits.Kit { // a thermometer goes with its press
			if k.GoesWithID == id && !slices.Contains(o.PlacedTools, k.ID) {
				facts = append(facts, Fact{Capital(string(k.Class)), r.kitWords(k, kits)})
			}
		}
	}
	room, err := s.StoreBook.Room(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return nil, err
	}
	for _, out := range room.Outlooks {
		for _, h := range out.Held {
			if h.OrderID == o.ID {
				facts = append(facts, Fact{out.Item.Name, r.heldWords(out, h)})
			}
		}
	}
	return facts, nil
}

// kitWords says how a piece of kit stands: "Press 1, 214 of 400 press cycles; calibration due 2 Mar 2027".
func (r *Request) kitWords(k assets.Kit, kits *KitRoom) string {
	words := []string{k.Name}
	for _, c := range kits.Counters[k.ID] {
		if !c.Moves() {
			continue
		}
		count := Num(c.Count, 0)
		if c.Limit > 0 {
			count += " of " + Num(c.Limit, 0)
		}
		words = append(words, joinWords(count+" "+string(c.Counts), c.Part))
	}
	due := assets.Day("")
	for _, c := range kits.Calibrations[k.ID] {
		if !c.Withdrawn {
			due = max(due, c.DueDay)
		}
	}
	if due != "" {
		words = append(words, pick(due < r.F.Today(), "calibration was due ", "calibration due ")+r.F.Day(due))
	}
	return strings.Join(words, "; ")
}

// heldWords says where what an order takes comes from: "4 l, lot 1188 good until 30 Nov 2026".
func (r *Request) heldWords(out stock.Outlook, h stock.Held) string {
	words := r.quantity(out.Item, h.Quantity)
	for _, t := range h.Takes {
		if i := slices.IndexFunc(out.Lots, func(l stock.Lot) bool { return l.ID == t.LotID }); i >= 0 {
			words += "; lot " + out.Lots[i].Lot
			if until := out.Lots[i].GoodUntil; until != "" {
				words += " good until " + r.F.Day(until)
			}
		}
	}
	if h.Waits() {
		words += "; waits for a supply that is on order"
	}
	if h.Short > 0 {
		words += "; " + r.quantity(out.Item, h.Short) + " are short"
	}
	return words
}

// pressedFor is the press cycles recorded for an order, judged.
func (s *Site) pressedFor(r *Request, o workorder.Order) ([]pressedPart, error) {
	all, err := s.Pressing.Pressed(r.Context(), r.Scope, PressFilter{PlantID: r.PlantID(), OrderID: o.ID})
	if err != nil {
		return nil, err
	}
	var out []pressedPart
	for _, p := range all {
		rec := p.Record
		if rec.OrderID != o.ID {
			continue
		}
		rc, by, err := s.editionOf(r, rec)
		if err != nil {
			return nil, err
		}
		name := p.Tag + " splice " + p.Splice.Number
		page := &pressPage{}
		if rec.AttachmentID != 0 {
			if err := s.plotKept(r, page, rec, by, name); err != nil {
				return nil, err
			}
		}
		out = append(out, pressedPart{Link: Link{Word: "the whole record", To: r.At("press", rec.ID)}, Says: judgedSay(name, rec) + ". Pressed " + r.F.Stamp(rec.PressedAt) + " on " + rec.Press + " by recipe " + recipeName(rc), Reason: rec.Reason, By: rc,
			Plot: page.Plot, Judged: r.judgedRows(rec.Figures, by)})
	}
	return out, nil
}
