package api

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
	"carryside/schedule/people"
)

// standstill is a stretch in which a conveyor stood by a failure.
type standstill struct {
	ID         int64      `json:"id"`
	ConveyorID int64      `json:"conveyor_id"`
	SpliceID   *int64     `json:"splice_id,omitempty" doc:"the splice that let go"`
	OrderID    *int64     `json:"order_id,omitempty" doc:"the work that restored it"`
	From       *time.Time `json:"from_at"`
	Until      *time.Time `json:"until_at,omitempty" doc:"when it could run again; absent while it stands"`
	Cause      string     `json:"cause"`
	WorkedH    *float64   `json:"worked_h,omitempty" doc:"hours of work of all people together"`
	Text       string     `json:"text,omitempty"`
}

// standstillQuery is a list of standstills.
type standstillQuery struct {
	ListOf
	Since time.Time `query:"since" doc:"only those that had not ended at this instant"`
}

// standstillSeen is what a program or a person saw of a standstill.
type standstillSeen struct {
	ConveyorID  int64      `json:"conveyor_id,omitempty" minimum:"1" doc:"number of the conveyor; this or its tag"`
	Conveyor    string     `json:"conveyor,omitempty" maxLength:"100" doc:"tag of the conveyor; this or its number"`
	From        time.Time  `json:"from_at" doc:"when it stopped, not in the future"`
	Until       *time.Time `json:"until_at,omitempty" doc:"when it could run again; absent while it stands"`
	Cause       string     `json:"cause,omitempty" enum:"splice,belt,drive or gearbox,pulley or bearing,idler or slider bed,scraper or chute,power or control,jam or spillage,other,not known yet" doc:"the part that failed; absent: not known yet"`
	OrderNumber int64      `json:"order_number,omitempty" minimum:"1" doc:"number in its plant of the order that restored it"`
	WorkedH     *float64   `json:"worked_h,omitempty" minimum:"0" maximum:"10000" doc:"hours of work of all people together"`
	Text        string     `json:"text,omitempty" maxLength:"500"`
}

// recordStandstill is a standstill as it is sent.
type recordStandstill struct {
	InPlant
	Keyed
	Body standstillSeen
}

// endStandstill says since when a conveyor can run again.
type endStandstill struct {
	InPlant
	Keyed
	Standstill int64 `path:"standstill" minimum:"1" doc:"number of the standstill"`
	Body       struct {
		Until time.Time `json:"until_at" doc:"when it could run again, not in the future"`
	}
}

// standstillKept is a standstill as it is kept.
type standstillKept struct {
	Replayed string `header:"Idempotency-Replayed" doc:"true where this is the answer kept of the first time"`
	Body     standstill
}

func (s *service) standstills(a huma.API) {
	huma.Register(a, read("list-standstills", "/plants/{plant}/standstills", "Registry", "How conveyors of a plant stood by failures, newest first", ""), answer(s, s.listStandstills))
	huma.Register(a, write("record-standstill", "/plants/{plant}/standstills", "Registry", "Record that a conveyor stands or stood by a failure",
		"That it can run again is decided at the conveyor by the site's rules, not here. A conveyor stands once at a time: one that overlaps another is refused. Planned stops are no standstills."), answer(s, s.recordStandstill))
	huma.Register(a, write("end-standstill", "/plants/{plant}/standstills/{standstill}/end", "Registry", "Say since when a conveyor that stood can run again",
		"One that has ended is corrected by a person, with a reason."), answer(s, s.endStandstill))
}

func (s *service) listStandstills(ctx context.Context, in *standstillQuery) (*listed[standstill], error) {
	m, err := s.at(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	list, err := m.Standstills(ctx, assets.InstantOf(in.Since))
	if err != nil {
		return nil, err
	}
	return pageOf(list, func(st assets.Standstill) string { return rising(falling(int64(st.FromAt)), falling(st.ID)) }, in.Paging, tellStandstill)
}

func tellStandstill(st assets.Standstill) standstill {
	out := standstill{ID: st.ID, ConveyorID: st.ConveyorID, SpliceID: known(st.SpliceID), OrderID: known(st.OrderID), From: instant(st.FromAt), Cause: string(st.Cause), WorkedH: st.WorkedH, Text: st.Text}
	if st.UntilAt != nil {
		out.Until = instant(*st.UntilAt)
	}
	return out
}

func (s *service) recordStandstill(ctx context.Context, in *recordStandstill) (*standstillKept, error) {
	v, err := s.look(ctx, in.Plant, Then{})
	if err != nil {
		return nil, err
	}
	b := in.Body
	id, says := v.conveyorMeant(readingOfRound{ConveyorID: b.ConveyorID, Conveyor: b.Conveyor})
	if says != "" {
		return nil, assets.Invalid{"body.conveyor_id": says}
	}
	st := assets.Standstill{PlantID: v.plant.ID, ConveyorID: id, FromAt: assets.InstantOf(b.From), Cause: assets.Cause(b.Cause), WorkedH: b.WorkedH, Text: b.Text}
	if b.Cause == "" {
		st.Cause = assets.CauseUnknown
	}
	if b.Until != nil {
		until := assets.InstantOf(*b.Until)
		st.UntilAt = &until
	}
	if b.OrderNumber != 0 {
		file, err := v.Order(ctx, b.OrderNumber)
		if err != nil && !errors.Is(err, assets.ErrNotFound) {
			return nil, err
		}
		if err != nil || file.Order.ConveyorID != id {
			return nil, assets.Invalid{"body.order_number": "there is no such order at this conveyor; give its number in the plant"}
		}
		st.OrderID = file.Order.ID
	}
	return s.keepStandstill(ctx, v.plantSeen, in.Keyed, st)
}

func (s *service) endStandstill(ctx context.Context, in *endStandstill) (*standstillKept, error) {
	m, err := s.at(ctx, in.Plant, Then{})
	if err != nil {
		return nil, err
	}
	until := assets.InstantOf(in.Body.Until)
	st := assets.Standstill{PlantID: m.plant.ID, UntilAt: &until}
	st.ID = in.Standstill
	return s.keepStandstill(ctx, m, in.Keyed, st)
}

// keepStandstill keeps a standstill, or the end of one (ID), once.
func (s *service) keepStandstill(ctx context.Context, m plantSeen, k Keyed, st assets.Standstill) (*standstillKept, error) {
	a := m.asker
	if !a.Who.May(people.RecordFinding, m.plant.CustomerID, m.plant.ID) {
		return nil, assets.ErrForbidden
	}
	kept, again, err := s.StandstillOnce(ctx, a.Scope(), a.writing(m.plant.ID, k), st, func(st assets.Standstill) (string, error) {
		text, err := json.Marshal(tellStandstill(st))
		return string(text), err
	})
	out := &standstillKept{Replayed: replayed(again)}
	return out, a.readKept(kept, err, &out.Body)
}
