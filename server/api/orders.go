package api

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// order is a work order.
type order struct {
	Number       int64      `json:"number" doc:"in its plant, as people say it"`
	Kind         string     `json:"kind"`
	State        string     `json:"state" enum:"raised,accepted,placed,started,done,signed,withdrawn"`
	Overdue      bool       `json:"overdue" doc:"open and past its latest date"`
	ConveyorID   *int64     `json:"conveyor_id,omitempty"`
	BeltID       *int64     `json:"belt_id,omitempty"`
	SpliceID     *int64     `json:"splice_id,omitempty"`
	FindingID    *int64     `json:"finding_id,omitempty"`
	RuleID       *int64     `json:"rule_id,omitempty" doc:"the rule that raised it; absent where a person or a finding did"`
	Title        string     `json:"title"`
	Reason       string     `json:"reason,omitempty" doc:"why it was raised, with its numbers"`
	LatestDay    string     `json:"latest_day,omitempty" format:"date" doc:"latest day at the plant; absent where it has none"`
	PutOffWhy    string     `json:"put_off_why,omitempty"`
	WorkH        *float64   `json:"work_h,omitempty" doc:"expected work in the stop"`
	Crew         *int       `json:"crew,omitempty" doc:"people needed"`
	WindowID     *int64     `json:"stop_id,omitempty" doc:"stop it is placed in"`
	RaisedAt     *time.Time `json:"raised_at,omitempty"`
	AcceptedAt   *time.Time `json:"accepted_at,omitempty"`
	PlacedAt     *time.Time `json:"placed_at,omitempty"`
	StartedAt    *time.Time `json:"started_at,omitempty"`
	DoneAt       *time.Time `json:"done_at,omitempty" doc:"when the work was done, not when it was entered"`
	DoneH        *float64   `json:"done_h,omitempty" doc:"work it took"`
	DoneNote     string     `json:"done_note,omitempty"`
	SignedAt     *time.Time `json:"signed_at,omitempty"`
	WithdrawnAt  *time.Time `json:"withdrawn_at,omitempty"`
	WithdrawnWhy string     `json:"withdrawn_why,omitempty"`
	Events       []event    `json:"events,omitempty" doc:"its history from old to new; told of one order, not in lists"`
}

// event is a step of an order.
type event struct {
	What      string     `json:"what"`
	At        *time.Time `json:"at,omitempty" doc:"when it was so"`
	EnteredAt *time.Time `json:"entered_at,omitempty"`
	By        string     `json:"by,omitempty" doc:"absent where a rule did it"`
	Why       string     `json:"why,omitempty"`
}

// orderQuery is a list of orders.
type orderQuery struct {
	ListOf
	State    string    `query:"state" enum:"open,closed,all" default:"open" doc:"open: raised to started; closed: done, signed or withdrawn"`
	Kind     string    `query:"kind" maxLength:"40" doc:"only of this kind"`
	Conveyor int64     `query:"conveyor" minimum:"1" doc:"only of this conveyor"`
	Splice   int64     `query:"splice" minimum:"1" doc:"only of this splice"`
	Since    time.Time `query:"since" doc:"only those closed or changed at this instant or later"`
}

// ofOrder is the address of an order.
type ofOrder struct {
	InPlant
	Then
	Order int64 `path:"order" minimum:"1" doc:"number of the order in the plant"`
}

func (s *service) orders(a huma.API) {
	huma.Register(a, read("list-orders", "/plants/{plant}/orders", "Orders", "The work orders of a plant", ""), answer(s, s.listOrders))
	huma.Register(a, read("get-order", "/plants/{plant}/orders/{order}", "Orders", "One order with its history", ""), answer(s, s.getOrder))
}

func (s *service) listOrders(ctx context.Context, in *orderQuery) (*listed[order], error) {
	v, err := s.look(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	if in.Kind != "" && !slices.Contains(workorder.Kinds, workorder.Kind(in.Kind)) {
		return nil, assets.Invalid{"query.kind": "there is no such kind of order; there are: " + kindNames()}
	}
	list, err := v.Orders(ctx, web.OrderFilter{Open: in.State == "open", Closed: in.State == "closed",
		Kind: workorder.Kind(in.Kind), ConveyorID: in.Conveyor, SpliceID: in.Splice, Since: in.Since})
	if err != nil {
		return nil, err
	}
	list = byID(list, func(o workorder.Order) int64 { return o.Number })
	return pageOf(list, func(o workorder.Order) string { return rising(o.Number) }, in.Paging, v.order)
}

func kindNames() string {
	var names []string
	for _, k := range workorder.Kinds {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

func (s *service) getOrder(ctx context.Context, in *ofOrder) (*single[order], error) {
	v, err := s.look(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	f, err := v.Order(ctx, in.Order)
	if err != nil {
		return nil, err
	}
	out := v.order(f.Order)
	for _, e := range f.Events {
		out.Events = append(out.Events, event{What: e.What, At: instant(e.At), EnteredAt: instant(e.EnteredAt), By: f.People[e.PersonID], Why: e.Why})
	}
	return one(out), nil
}

func (v *view) order(o workorder.Order) order {
	return order{Number: o.Number, Kind: string(o.Kind), State: string(o.State), Overdue: v.overdue(o), ConveyorID: known(o.ConveyorID), BeltID: known(o.BeltID),
		SpliceID: known(o.SpliceID), FindingID: known(o.FindingID), RuleID: known(o.RuleID), Title: o.Title, Reason: o.Reason, LatestDay: string(o.LatestDay),
		PutOffWhy: o.PutOffWhy, WorkH: known(o.WorkHours), Crew: known(o.Crew), WindowID: known(o.WindowID), RaisedAt: instant(o.RaisedAt),
		AcceptedAt: instant(o.AcceptedAt), PlacedAt: instant(o.PlacedAt), StartedAt: instant(o.StartedAt), DoneAt: instant(o.DoneAt), DoneH: known(o.DoneHours),
		DoneNote: o.DoneNote, SignedAt: instant(o.SignedAt), WithdrawnAt: instant(o.WithdrawnAt), WithdrawnWhy: o.WithdrawnWhy}
}

// overdue tells whether an open order is past its latest date.
func (v *view) overdue(o workorder.Order) bool {
	return o.State.Open() && o.LatestDay != "" && o.LatestDay < v.today()
}
