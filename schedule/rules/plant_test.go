package rules

import (
	"fmt"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// steady is a belt that runs the same hours every day from its first reading on.
type steady struct {
	from   time.Time
	perDay float64
}

func (s steady) HoursAt(t time.Time) (float64, bool) {
	return t.Sub(s.from).Hours() / 24 * s.perDay, !t.Before(s.from)
}

func (s steady) HoursReachedAt(h float64) (time.Time, bool) {
	return s.from.Add(time.Duration(h / s.perDay * 24 * float64(time.Hour))), h >= 0 && s.perDay > 0
}

func (s steady) Begins() (time.Time, bool) { return s.from, true }

// oslo is the zone of the terminal the tests play at.
const oslo = "Europe/Oslo"

func utc(t testing.TB, s string) time.Time {
	t.Helper()
	for _, form := range []string{time.RFC3339, "2006-01-02T15:04", time.DateOnly} {
		if at, err := time.Parse(form, s); err == nil {
			return at
		}
	}
	t.Fatalf("%q is no time", s)
	return time.Time{}
}

// on is a date without a time, as the register keeps it.
func on(t testing.TB, zone string, day assets.Day) assets.When {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	w, err := assets.OnDay(day, loc, utc(t, "2100-01-01"))
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// exactly is a date with a time of day.
func exactly(t testing.TB, at string) assets.When { return assets.Exactly(utc(t, at), time.UTC) }

// terminal is a plant with two conveyors: Q3 with a rubber belt and two splices, L1 with a light belt, fingers.
func terminal(t testing.TB, now string) Inputs {
	in := Inputs{Now: utc(t, now), Families: map[int64]string{1: "RB-EP", 2: "LT-PVC"}}
	in.Plant = assets.Plant{Version: assets.Version{ID: 1}, CustomerID: 9, Name: "Skarrow Grain Terminal", Zone: oslo}
	in.Lines = []assets.Line{{Version: assets.Version{ID: 3}, PlantID: 1, Name: "Quay"}, {Version: assets.Version{ID: 4}, PlantID: 1, Name: "Loading"}}
	in.Conveyors = []assets.Conveyor{
		{Version: assets.Version{ID: 10}, PlantID: 1, LineID: 3, Tag: "Q3", SpeedMPS: 3.15, Status: assets.ConveyorInUse, Outdoor: true},
		{Version: assets.Version{ID: 11}, PlantID: 1, LineID: 4, Tag: "L1", SpeedMPS: 0.5, Status: assets.ConveyorInUse, WashDown: true},
	}
	in.Belts = []assets.Belt{
		{Version: assets.Version{ID: 20}, PlantID: 1, ConveyorID: 10, SpecificationID: 1, LoopLengthM: 412, Fitted: on(t, oslo, "2022-05-10")},
		{Version: assets.Version{ID: 21}, PlantID: 1, ConveyorID: 11, SpecificationID: 2, LoopLengthM: 20.6283185, Fitted: on(t, oslo, "2024-01-01")},
	}
	in.Splices = []assets.Splice{
		{Version: assets.Version{ID: 31}, PlantID: 1, ConveyorID: 10, BeltID: 20, Number: "1", Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Made: on(t, oslo, "2022-05-10")},
		{Version: assets.Version{ID: 32}, PlantID: 1, ConveyorID: 10, BeltID: 20, Number: "2", Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Made: on(t, oslo, "2026-03-02")},
		{Version: assets.Version{ID: 33}, PlantID: 1, ConveyorID: 11, BeltID: 21, Number: "1", Form: assets.FormFinger, Bond: assets.BondHotPressed, Made: exactly(t, "2026-10-01T10:00:00Z")},
		{Version: assets.Version{ID: 34}, PlantID: 1, ConveyorID: 11, BeltID: 21, Number: "2", Form: assets.FormFinger, Bond: assets.BondHotPressed,
			Made: assets.When{At: assets.InstantOf(utc(t, "2026-09-10T08:00:00Z")), AsWritten: "not known"}},
	}
	in.Clocks = Clocks{
		Lines: map[int64]Line{10: steady{utc(t, "2022-01-01"), 10}, 11: steady{utc(t, "2024-01-01"), 16}},
		Paces: map[int64][]Pace{20: {{PassesPerHour: 3600 * 3.15 / 412}}, 21: {{PassesPerHour: 3600 * 0.5 / 20.6283185}}},
	}
	return in
}

// rule is a rule of class P in force since an instant.
func rule(id int64, starts time.Time, sc Scope, trg Trigger, kind workorder.Kind) Rule {
	return Rule{Version: assets.Version{ID: id}, Name: "rule under test", Class: assets.ClassP, Scope: sc, Trigger: trg,
		Template: Template{Kind: kind, Title: "look at {target}"}, StartsAt: assets.InstantOf(starts)}
}

// raised plays the storage: it keeps a proposal as an occurrence with an order of that number.
func raised(in *Inputs, p Proposal, orderID int64) *workorder.Order {
	oc := p.Occurrence(p.RaiseAt)
	oc.OrderID = orderID
	in.Occurrences = append(in.Occurrences, oc)
	o := p.Order(p.RaiseAt)
	o.ID, o.Number = orderID, orderID
	in.Orders = append(in.Orders, o)
	return &in.Orders[len(in.Orders)-1]
}

// lines writes proposals as one reads them: target, cycle, due in UTC.
func lines(ps []Proposal) []string {
	var out []string
	for _, p := range ps {
		out = append(out, fmt.Sprintf("%s | %s | %s", p.Target.Name(), p.Cycle, p.DueAt.Format(time.RFC3339)))
	}
	return out
}
