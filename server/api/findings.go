package api

import (
	"context"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
)

// finding is what somebody saw at a conveyor.
type finding struct {
	ID              int64      `json:"id"`
	ConveyorID      int64      `json:"conveyor_id"`
	BeltID          *int64     `json:"belt_id,omitempty"`
	SpliceID        *int64     `json:"splice_id,omitempty"`
	Target          string     `json:"target,omitempty" doc:"as written"`
	FoundAt         *time.Time `json:"found_at,omitempty"`
	FoundDay        string     `json:"found_day,omitempty" format:"date" doc:"day of found_at at the plant"`
	FoundBy         string     `json:"found_by,omitempty"`
	Category        string     `json:"category,omitempty"`
	Grade           *int       `json:"grade,omitempty" minimum:"0" maximum:"4"`
	GradeWords      string     `json:"grade_words,omitempty" doc:"what the grade means for this category, as the company says it or else the trade"`
	Text            string     `json:"text,omitempty"`
	Quantity        string     `json:"quantity,omitempty" doc:"what was measured"`
	Measurement     *float64   `json:"measurement,omitempty"`
	MeasurementUnit string     `json:"measurement_unit,omitempty"`
	Running         *bool      `json:"running,omitempty" doc:"whether the conveyor ran when it was looked at"`
	FollowUpOrderID *int64     `json:"follow_up_order_id,omitempty"`
	RefusedWhy      string     `json:"refused_why,omitempty" doc:"why a person signed that no order follows"`
	Remark          string     `json:"remark,omitempty"`
}

// findingQuery is a list of findings.
type findingQuery struct {
	ListOf
	Conveyor int64     `query:"conveyor" minimum:"1" doc:"only those of this conveyor"`
	Splice   int64     `query:"splice" minimum:"1" doc:"only those of this splice"`
	Grade    int       `query:"grade_from" minimum:"0" maximum:"4" doc:"only graded this or worse"`
	Since    time.Time `query:"since" doc:"only those found at this instant or later"`
}

// ofFinding is the address of a finding.
type ofFinding struct {
	InPlant
	Then
	Finding int64 `path:"finding" minimum:"1" doc:"number of the finding"`
}

func (s *service) findings(a huma.API) {
	huma.Register(a, read("list-findings", "/plants/{plant}/findings", "Registry", "What was found at a plant, newest first", ""), answer(s, s.listFindings))
	huma.Register(a, read("get-finding", "/plants/{plant}/findings/{finding}", "Registry", "One finding", ""), answer(s, s.getFinding))
}

func (s *service) listFindings(ctx context.Context, in *findingQuery) (*listed[finding], error) {
	m, err := s.at(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	list, err := m.FindingsSince(ctx, assets.InstantOf(in.Since))
	if err != nil {
		return nil, err
	}
	list = slices.DeleteFunc(list, func(f assets.Finding) bool {
		return in.Conveyor != 0 && f.ConveyorID != in.Conveyor || in.Splice != 0 && f.SpliceID != in.Splice ||
			in.Grade != 0 && (f.Grade == nil || *f.Grade < in.Grade)
	})
	kinds, err := m.FindingKinds(ctx)
	if err != nil {
		return nil, err
	}
	return pageOf(list, func(f assets.Finding) string { return rising(falling(int64(f.FoundAt)), falling(f.ID)) }, in.Paging, func(f assets.Finding) finding { return tellFinding(f, kinds) })
}

func (s *service) getFinding(ctx context.Context, in *ofFinding) (*single[finding], error) {
	m, err := s.at(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	f, err := m.Finding(ctx, in.Finding)
	if err != nil {
		return nil, err
	}
	kinds, err := m.FindingKinds(ctx)
	if err != nil {
		return nil, err
	}
	return one(tellFinding(f, kinds)), nil
}

func tellFinding(f assets.Finding, kinds assets.FindingKinds) finding {
	out := finding{ID: f.ID, ConveyorID: f.ConveyorID, BeltID: known(f.BeltID), SpliceID: known(f.SpliceID), Target: f.Target, FoundAt: instant(f.FoundAt),
		FoundDay: string(f.FoundDay), FoundBy: f.FoundBy, Category: f.Category, Grade: f.Grade, Text: f.Text, Quantity: f.Quantity, Measurement: f.Measurement,
		MeasurementUnit: f.MeasurementUnit, Running: f.Running, FollowUpOrderID: known(f.FollowUpOrderID), RefusedWhy: f.RefusedWhy, Remark: f.Remark}
	if f.Grade != nil {
		out.GradeWords = kinds.Of(f.Category).Words(*f.Grade)
	}
	return out
}
