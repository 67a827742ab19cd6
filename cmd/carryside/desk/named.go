package desk

import (
	"context"
	"regexp"
	"slices"
	"strconv"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// This file puts names where orders name people by number. An order raised for a ticket is kept as "renew hot vulcanising of person 5", so
// that erasing a person leaves no name behind; whoever reads a screen reads who that is. Only people whom an occurrence of that very order is
// about are named: a number that somebody typed into a title names nobody.

// naming is the desk as the screens ask it for orders.
type naming struct{ *Desk }

// byNumber finds a person named by number.
var byNumber = regexp.MustCompile(`\bperson ([0-9]{1,18})\b`)

// who are the people that orders are about, by order, with their names.
type who struct {
	of    map[int64][]int64
	names map[int64]string
}

// who reads the people that orders are about.
func (d naming) who(ctx context.Context, scope assets.Scope, orderIDs ...int64) (who, error) {
	of, err := orders.About(ctx, d.db, scope, rules.TargetPerson, orderIDs)
	if err != nil || len(of) == 0 {
		return who{}, err
	}
	var ids []int64
	for _, list := range of {
		ids = append(ids, list...)
	}
	names, err := registry.Names(ctx, d.db, ids)
	return who{of, names}, err
}

// in puts the names of people into a sentence, in place of the numbers of those it is about.
func (w who) in(sentence string, about ...int64) string {
	if len(about) == 0 {
		return sentence
	}
	return byNumber.ReplaceAllStringFunc(sentence, func(found string) string {
		id, err := strconv.ParseInt(found[len("person "):], 10, 64)
		if name := w.names[id]; err == nil && name != "" && slices.Contains(about, id) {
			return name
		}
		return found
	})
}

// order puts names into what an order says of itself.
func (w who) order(o *workorder.Order) {
	o.Title, o.Reason = w.in(o.Title, w.of[o.ID]...), w.in(o.Reason, w.of[o.ID]...)
}

// listed puts names into orders of a list that is nobody else's. Most lists name nobody by number, and nothing is asked.
func (d naming) listed(ctx context.Context, scope assets.Scope, list []workorder.Order) error {
	var ids []int64
	for _, o := range list {
		if byNumber.MatchString(o.Title) || byNumber.MatchString(o.Reason) {
			ids = append(ids, o.ID)
		}
	}
	w, err := d.who(ctx, scope, ids...)
	for i := range list {
		w.order(&list[i])
	}
	return err
}

// OpenOrders is OpenOrders of the desk with names.
func (d naming) OpenOrders(ctx context.Context, scope assets.Scope, plantID int64) ([]workorder.Order, error) {
	list, err := d.Desk.OpenOrders(ctx, scope, plantID)
	if err != nil {
		return nil, err
	}
	return list, d.listed(ctx, scope, list)
}

// OrderList is OrderList of the desk with names.
func (d naming) OrderList(ctx context.Context, scope assets.Scope, plantID int64, f web.OrderFilter) ([]workorder.Order, int, error) {
	list, all, err := d.Desk.OrderList(ctx, scope, plantID, f)
	if err != nil {
		return nil, 0, err
	}
	return list, all, d.listed(ctx, scope, list)
}

// Order is Order of the desk with names, in its history too.
func (d naming) Order(ctx context.Context, scope assets.Scope, plantID, number int64) (*web.OrderFile, error) {
	f, err := d.Desk.Order(ctx, scope, plantID, number)
	if err != nil {
		return nil, err
	}
	w, err := d.who(ctx, scope, f.Order.ID)
	w.order(&f.Order)
	for i := range f.Events {
		f.Events[i].Why = w.in(f.Events[i].Why, w.of[f.Order.ID]...)
	}
	return f, err
}

// Reminders is Reminders of the desk with names.
func (d naming) Reminders(ctx context.Context, scope assets.Scope, plantID int64, today assets.Day) ([]rules.Occurrence, error) {
	list, err := d.Desk.Reminders(ctx, scope, plantID, today)
	if err != nil {
		return nil, err
	}
	var ids []int64
	for _, o := range list {
		if o.TargetKind == rules.TargetPerson {
			ids = append(ids, o.TargetID)
		}
	}
	if len(ids) == 0 {
		return list, nil
	}
	names, err := registry.Names(ctx, d.db, ids)
	for i := range list {
		if list[i].TargetKind == rules.TargetPerson {
			list[i].Why = who{names: names}.in(list[i].Why, list[i].TargetID)
		}
	}
	return list, err
}

// News is News of the desk with names.
func (d naming) News(ctx context.Context, scope assets.Scope, plantID int64, since time.Time) (*web.News, error) {
	n, err := d.Desk.News(ctx, scope, plantID, since)
	if err != nil {
		return nil, err
	}
	var ids []int64
	for _, s := range n.Steps {
		if byNumber.MatchString(s.Title) || byNumber.MatchString(s.Event.Why) {
			ids = append(ids, s.Event.OrderID)
		}
	}
	w, err := d.who(ctx, scope, ids...)
	own := *n // the desk keeps n for others too
	own.Steps = slices.Clone(n.Steps)
	for i := range own.Steps {
		s := &own.Steps[i]
		s.Title, s.Event.Why = w.in(s.Title, w.of[s.Event.OrderID]...), w.in(s.Event.Why, w.of[s.Event.OrderID]...)
	}
	return &own, err
}

// VisitsAhead is VisitsAhead of the desk with names.
func (d naming) VisitsAhead(ctx context.Context, scope assets.Scope, now, until time.Time) ([]web.VisitNeed, error) {
	list, err := d.Desk.VisitsAhead(ctx, scope, now, until)
	if err != nil {
		return nil, err
	}
	var ids []int64
	for _, n := range list {
		if byNumber.MatchString(n.Title) {
			ids = append(ids, n.OrderID)
		}
	}
	w, err := d.who(ctx, scope, ids...)
	for i := range list {
		list[i].Title = w.in(list[i].Title, w.of[list[i].OrderID]...)
	}
	return list, err
}

// Find is Find of the desk with names.
func (d naming) Find(ctx context.Context, scope assets.Scope, plantID int64, text string) ([]web.Hit, error) {
	hits, err := d.Desk.Find(ctx, scope, plantID, text)
	if err != nil {
		return nil, err
	}
	var ids []int64
	for _, h := range hits {
		if byNumber.MatchString(h.Says) {
			ids = append(ids, h.OrderID)
		}
	}
	w, err := d.who(ctx, scope, ids...)
	for i := range hits {
		hits[i].Says = w.in(hits[i].Says, w.of[hits[i].OrderID]...)
	}
	return hits, err
}
