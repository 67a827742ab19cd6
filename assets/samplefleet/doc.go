// Package samplefleet makes the demo's service company with its three invented plants, and the fleets
// that tests and benchmarks run on. Everything is drawn from stated parameters with a fixed seed: the
// same day gives the same fleet, row for row.
//
// The generating parameters stand in Cohorts, so that a fit can be held against what the data were made
// of. It knows the register's words and rules; it does not know the database: cmd writes a Fleet down.
package samplefleet

import (
	"time"

	"carryside/assets"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// Fleet is everything an installation starts with, with numbers already given. Slices are in the order of
// their numbers; version rows of one thing follow each other.
type Fleet struct {
	Company         assets.Company
	Customers       []assets.Customer
	Contracts       []assets.Contract
	Plants          []assets.Plant
	Contacts        []assets.Contact
	Lines           []assets.Line
	Conveyors       []assets.Conveyor
	Belts           []assets.Belt
	Splices         []assets.Splice
	Meters          []assets.Meter
	Readings        []assets.Reading
	Held            []assets.HeldReading
	Findings        []assets.Finding
	Calendars       []assets.ProductionCalendar
	Windows         []assets.StopWindow
	Specifications  []assets.Specification
	SpliceKinds     []assets.SpliceKind
	Rules           []rules.Rule
	Orders          []workorder.Order
	OrderEvents     []workorder.Event
	Recipes         []assets.Recipe
	PressRecords    []assets.PressRecord
	People          []assets.Person
	Grants          []assets.Grant
	Recurrences     []assets.StopRecurrence
	IsolationGroups []assets.IsolationGroup
	Qualifications  []assets.Qualification
	Tickets         []assets.PersonQualification
	CrewMembers     []assets.CrewMember
	Absences        []assets.Absence
	Travel          []assets.TravelTime
	Templates       []assets.WorkTemplate
	Today           time.Time // the moment the fleet stands at
}

// Cohort is what the lives of one sort of splice are drawn from: a Weibull distribution of splice passes.
type Cohort struct {
	Name        string
	Shape       float64 // of the Weibull distribution; below 1: early failures
	ScalePasses float64 // passes at which 63.2 % have failed
	PlannedAt   float64 // passes at which the plant replaces a sound splice; 0: runs to failure
}

// Cohorts are the generating parameters of the demo, by cohort name.
var Cohorts = map[string]Cohort{
	"heavy hot":     {Name: "heavy hot", Shape: 2.6, ScalePasses: 520_000, PlannedAt: 355_000},
	"heavy cold":    {Name: "heavy cold", Shape: 1.9, ScalePasses: 520_000, PlannedAt: 205_000},
	"heavy clips":   {Name: "heavy clips", Shape: 2.2, ScalePasses: 210_000, PlannedAt: 176_000},
	"hub finger":    {Name: "hub finger", Shape: 2.1, ScalePasses: 2_400_000, PlannedAt: 1_980_000},
	"hub guided":    {Name: "hub guided", Shape: 1.7, ScalePasses: 1_500_000, PlannedAt: 1_180_000},
	"bakery finger": {Name: "bakery finger", Shape: 1.4, ScalePasses: 3_800_000, PlannedAt: 2_950_000},
	"bakery edge":   {Name: "bakery edge", Shape: 0.8, ScalePasses: 2_600_000, PlannedAt: 0},
	"bakery hinged": {Name: "bakery hinged", Shape: 2.2, ScalePasses: 5_200_000, PlannedAt: 4_200_000},
	"bakery new":    {Name: "bakery new", Shape: 3.0, ScalePasses: 40_000_000, PlannedAt: 0},
}

// Split parts what was noted before an instant from what was noted at or after it: readings, held readings and
// findings. It lets a demonstration be written down as if its last days had come in one by one.
func (f *Fleet) Split(at time.Time) (before, after *Fleet) {
	cut := assets.InstantOf(at)
	b, a := *f, Fleet{Customers: f.Customers, Plants: f.Plants, Conveyors: f.Conveyors, Today: f.Today}
	b.Today = at
	b.Readings, a.Readings = part(f.Readings, func(r assets.Reading) bool { return r.At < cut })
	b.Findings, a.Findings = part(f.Findings, func(r assets.Finding) bool { return r.FoundAt < cut })
	b.Held, a.Held = part(f.Held, func(r assets.HeldReading) bool { return r.EnteredAt < cut })
	return &b, &a
}

// part parts a list in two.
func part[T any](list []T, first func(T) bool) (yes, no []T) {
	for _, x := range list {
		if first(x) {
			yes = append(yes, x)
		} else {
			no = append(no, x)
		}
	}
	return yes, no
}
