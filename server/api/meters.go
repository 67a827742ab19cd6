package api

import (
	"context"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
)

// meter is a conveyor's hour meter with its stretches.
type meter struct {
	ConveyorID int64     `json:"conveyor_id"`
	Conveyor   string    `json:"conveyor" doc:"its tag"`
	Last       *reading  `json:"last_reading,omitempty" doc:"newest accepted reading; absent while nobody read it"`
	Stretches  []stretch `json:"stretches" nullable:"false" doc:"in order of time; a new one begins where the meter was replaced or rolled over"`
}

// stretch is a stretch of an hour meter.
type stretch struct {
	ID             int64      `json:"id"`
	From           *time.Time `json:"from,omitempty"`
	Why            string     `json:"why" enum:"first,replaced,rolled_over"`
	StartH         float64    `json:"start_h" doc:"what the new meter showed when fitted"`
	PreviousFinalH *float64   `json:"previous_final_h,omitempty" doc:"what the old one showed last"`
	RollsOverAtH   *float64   `json:"rolls_over_at_h,omitempty"`
	OffsetH        float64    `json:"offset_h" doc:"added to what the meter shows makes running hours"`
	ResolutionH    float64    `json:"resolution_h" doc:"one display step"`
	SerialNumber   string     `json:"serial_number,omitempty"`
	Remark         string     `json:"remark,omitempty"`
}

// reading is an accepted reading.
type reading struct {
	At          time.Time `json:"at"`
	ShownH      float64   `json:"shown_h" doc:"as the meter showed it"`
	RunningH    float64   `json:"running_h" doc:"running hours of the conveyor: shown, counted on over replaced meters and rollovers"`
	Approximate bool      `json:"approximate" doc:"the instant is the end of an interval"`
	Remark      string    `json:"remark,omitempty"`
}

// heldReading is a reading that contradicts its neighbours and waits for a person.
type heldReading struct {
	ID         int64     `json:"id"`
	ConveyorID int64     `json:"conveyor_id"`
	At         time.Time `json:"at"`
	ShownH     float64   `json:"shown_h"`
	Class      string    `json:"class" doc:"backwards, more_than_24_h_a_day or same_instant"`
	Question   string    `json:"question" doc:"what contradicts what"`
	Origin     string    `json:"origin" doc:"where it came from"`
	EnteredAt  time.Time `json:"entered_at"`
}

// readingQuery is a list of readings.
type readingQuery struct {
	OfConveyor
	Paging
	Then
	From time.Time `query:"from" doc:"only those at this instant or later"`
	To   time.Time `query:"to" doc:"only those before this instant"`
}

func (s *service) meters(a huma.API) {
	huma.Register(a, read("list-meters", "/plants/{plant}/meters", "Hour meters", "The hour meters of a plant", ""), answer(s, s.listMeters))
	huma.Register(a, read("list-readings", "/plants/{plant}/conveyors/{conveyor}/readings", "Hour meters", "The accepted readings of a conveyor in order of time", ""), answer(s, s.listReadings))
	huma.Register(a, read("list-held-readings", "/plants/{plant}/held-readings", "Hour meters", "Readings that contradict their neighbours and wait for a person", "They are neither used nor dropped."), answer(s, s.listHeld))
}

func (s *service) listMeters(ctx context.Context, in *ListOf) (*listed[meter], error) {
	v, err := s.look(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	last, meters, err := v.Meters(ctx, v.Register.Conveyors)
	if err != nil {
		return nil, err
	}
	conveyors := byID(v.Register.Conveyors, func(c assets.Conveyor) int64 { return c.ID })
	return pageOf(conveyors, func(c assets.Conveyor) string { return rising(c.ID) }, in.Paging, func(c assets.Conveyor) meter {
		out := meter{ConveyorID: c.ID, Conveyor: c.Tag, Stretches: []stretch{}}
		for _, m := range meters[c.ID] {
			out.Stretches = append(out.Stretches, tellStretch(m))
		}
		if r, read := last[c.ID]; read {
			told := s.reading(meters[c.ID], r)
			out.Last = &told
		}
		return out
	})
}

func tellStretch(m assets.Meter) stretch {
	return stretch{ID: m.ID, From: instant(m.FromAt), Why: string(m.Why), StartH: m.StartH, PreviousFinalH: m.PreviousFinalH, RollsOverAtH: known(m.RollsOverAtH),
		OffsetH: m.OffsetH, ResolutionH: m.ResolutionH, SerialNumber: m.SerialNumber, Remark: m.Remark}
}

func (s *service) reading(meters []assets.Meter, r assets.Reading) reading {
	out := reading{At: r.At.Time(), ShownH: r.ShownH, RunningH: s.RunningHours(meters, r.At, r.ShownH), Approximate: r.Approximate}
	if r.Remark != nil {
		out.Remark = *r.Remark
	}
	return out
}

func (s *service) listReadings(ctx context.Context, in *readingQuery) (*listed[reading], error) {
	v, c, err := s.conveyorOf(ctx, in.OfConveyor, in.Then)
	if err != nil {
		return nil, err
	}
	meters, err := v.MetersOf(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	list, err := v.ReadingsBetween(ctx, c.ID, assets.InstantOf(in.From), assets.InstantOf(in.To))
	if err != nil {
		return nil, err
	}
	return pageOf(list, func(r assets.Reading) string { return rising(int64(r.At)) }, in.Paging, func(r assets.Reading) reading { return s.reading(meters, r) })
}

func (s *service) listHeld(ctx context.Context, in *ListOf) (*listed[heldReading], error) {
	m, err := s.at(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	list, err := m.WaitingReadings(ctx)
	if err != nil {
		return nil, err
	}
	list = byID(list, func(h assets.HeldReading) int64 { return h.ID })
	return pageOf(list, func(h assets.HeldReading) string { return rising(h.ID) }, in.Paging, func(h assets.HeldReading) heldReading {
		return heldReading{ID: h.ID, ConveyorID: h.ConveyorID, At: h.At.Time(), ShownH: h.ShownH, Class: h.Class, Question: h.Question, Origin: h.Origin, EnteredAt: h.EnteredAt.Time()}
	})
}
