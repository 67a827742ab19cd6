package api

import (
	"context"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"carryside/schedule/rules"
	"carryside/server/web"
)

// dueThing is something that falls due: a splice by its rule, an open order by its latest date, or a reminder.
type dueThing struct {
	Kind       string `json:"kind" enum:"splice,order,reminder"`
	Day        string `json:"day" format:"date" doc:"day at the plant on which it falls due"`
	Overdue    bool   `json:"overdue"`
	ConveyorID *int64 `json:"conveyor_id,omitempty"`
	Conveyor   string `json:"conveyor,omitempty" doc:"its tag"`
	SpliceID   *int64 `json:"splice_id,omitempty"`
	Order      *int64 `json:"order,omitempty" doc:"number of the order"`
	Title      string `json:"title"`
	Reason     string `json:"reason,omitempty" doc:"why, with its numbers"`

	id int64
}

// dueQuery is what falls due.
type dueQuery struct {
	ListOf
	Until string `query:"until" format:"date" doc:"only what falls due on this day of the plant or before"`
}

func (s *service) dueList(a huma.API) {
	huma.Register(a, read("list-due", "/plants/{plant}/due", "Orders", "What falls due at a plant, the earliest first",
		"Splices by the re-splice rule in force that falls due first, open orders by their latest date, and reminders. What has no date is not here. With as_of or known_at reminders are told whether or not they were put off then."), answer(s, s.listDue))
}

func (s *service) listDue(ctx context.Context, in *dueQuery) (*listed[dueThing], error) {
	v, err := s.look(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	open, err := v.Orders(ctx, web.OrderFilter{Open: true})
	if err != nil {
		return nil, err
	}
	reminders, err := v.Reminders(ctx, v.today())
	if err != nil {
		return nil, err
	}
	list := v.dueSplices()
	for _, o := range open {
		list = append(list, dueThing{Kind: "order", Day: string(o.LatestDay), Overdue: v.overdue(o), ConveyorID: known(o.ConveyorID), Conveyor: v.tag(o.ConveyorID),
			SpliceID: known(o.SpliceID), Order: known(o.Number), Title: o.Title, Reason: o.Reason, id: o.ID})
	}
	for _, r := range reminders {
		list = append(list, v.reminder(r))
	}
	list = slices.DeleteFunc(list, func(d dueThing) bool { return d.Day == "" || in.Until != "" && d.Day > in.Until })
	slices.SortFunc(list, func(a, b dueThing) int { return strings.Compare(a.key(), b.key()) })
	return pageOf(list, dueThing.key, in.Paging, func(d dueThing) dueThing { return d })
}

func (d dueThing) key() string { return d.Day + " " + d.Kind + " " + rising(d.id) }

func (v *view) dueSplices() []dueThing {
	var out []dueThing
	for _, st := range v.Standings {
		sp, _ := v.Register.Splice(st.SpliceID)
		out = append(out, dueThing{Kind: "splice", Day: string(st.DueDay), Overdue: st.Overdue, ConveyorID: known(st.ConveyorID), Conveyor: v.tag(st.ConveyorID),
			SpliceID: known(st.SpliceID), Title: "re-splice " + sp.Number, Reason: st.Reason, id: st.SpliceID})
	}
	return out
}

func (v *view) reminder(r rules.Occurrence) dueThing {
	d := dueThing{Kind: "reminder", Day: string(r.DueDay), Overdue: r.DueDay < v.today(), Title: "reminder", Reason: r.Why, id: r.ID}
	switch r.TargetKind {
	case rules.TargetConveyor:
		d.ConveyorID = known(r.TargetID)
	case rules.TargetSplice:
		sp, _ := v.Register.Splice(r.TargetID)
		d.SpliceID, d.ConveyorID = known(r.TargetID), known(sp.ConveyorID)
	}
	if d.ConveyorID != nil {
		d.Conveyor = v.tag(*d.ConveyorID)
	}
	return d
}

func (v *view) tag(conveyorID int64) string {
	c, _ := v.Register.Conveyor(conveyorID)
	return c.Tag
}
