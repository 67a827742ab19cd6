package samplefleet

import (
	"fmt"
	"math"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// rounds walks the plant's inspection rounds: worn splices get a finding, heavy ones with the gap measured. The
// gap grows with the square of the life used up, which is what the demo's trend page later finds again.
func (b *builder) rounds(s site, p assets.Plant, runs []*run, start time.Time, zone *time.Location) {
	byBelt := map[int64]*run{}
	for _, r := range runs {
		byBelt[r.conveyor.ID] = r
	}
	inspector := b.people[assets.NameKey(technician)]
	n := 0
	for t := start.AddDate(0, 0, s.visitEveryDays).Add(3 * time.Hour); t.Before(b.today); t = t.AddDate(0, 0, s.visitEveryDays) {
		n++
		for i := range b.fleet.Splices {
			if sp := &b.fleet.Splices[i]; sp.PlantID == p.ID && sp.Live(assets.InstantOf(t)) {
				b.look(byBelt[sp.ConveyorID], sp, t, zone, inspector)
			}
		}
		if b.today.Sub(t) < 2*365*24*time.Hour {
			in := func(h float64) assets.Instant { return assets.InstantOf(t.Add(time.Duration(h * float64(time.Hour)))) }
			plan := b.people[assets.NameKey(planner)]
			b.drafts = append(b.drafts, orderDraft{order: workorder.Order{Kind: workorder.KindInspection, State: workorder.Signed, Title: "inspection round",
				Reason: fmt.Sprintf("contract: a round every %d days", s.visitEveryDays), Crew: 1, WorkHours: 3, RaisedAt: in(-72), AcceptedAt: in(-48), AcceptedBy: plan, PlacedAt: in(-24), PlacedBy: plan,
				StartedAt: in(-3), StartedBy: inspector, DoneAt: in(0), DoneBy: inspector, DoneHours: 3, SignedAt: in(0.4), SignedBy: inspector}})
		}
	}
}

// look enters a finding for a splice when there is something to see.
func (b *builder) look(r *run, sp *assets.Splice, t time.Time, zone *time.Location, who int64) {
	c := Cohorts[r.spec.cohort]
	passes := 3600 * r.spec.speedMPS * r.weekH * r.ratio * t.Sub(sp.Made.At.Time()).Hours() / 168 / r.spec.loopM()
	used := passes / c.ScalePasses
	grade := gradeOf(used)
	running := false
	f := assets.Finding{Version: assets.Version{ValidFrom: assets.InstantOf(t), KnownFrom: seedPosition}, PlantID: sp.PlantID, ConveyorID: sp.ConveyorID,
		BeltID: sp.BeltID, SpliceID: sp.ID, Target: "S" + sp.Number, FoundAt: assets.InstantOf(t), FoundDay: assets.DayOf(t.In(zone)), Grade: &grade, Running: &running, FoundByID: who}
	switch {
	case r.spec.form == assets.FormStepped && used > 0.35:
		gap := round((0.0006+0.0030*used*used)*math.Exp(0.07*b.rng.NormFloat64()), 4)
		f.Category, f.Quantity, f.Measurement, f.MeasurementUnit = "opening along the seam", "splice gap", &gap, "m"
		f.Text = "gap measured at three places, the largest noted"
	case r.spec.form != assets.FormStepped && used > 0.6 && b.rng.Float64() < 0.35:
		f.Category, f.Text = "finger tip lift", "tips of two fingers lift at the edge"
		if r.spec.form.Mechanical() {
			f.Category, f.Text = "worn pin or plates", "plates worn where the scraper runs"
		}
	default:
		return
	}
	f.ID = b.id("findings")
	b.fleet.Findings = append(b.fleet.Findings, f)
	if grade >= 3 && b.today.Sub(t) > answeredAfter {
		b.answer(r, len(b.fleet.Findings)-1, t)
	}
}

// answeredAfter is how old a finding of grade 3 must be for its follow-up to be done; younger ones are left for the
// rules to answer.
const answeredAfter = 12 * 24 * time.Hour

// answer drafts the signed order that followed a finding up.
func (b *builder) answer(r *run, finding int, found time.Time) {
	f := b.fleet.Findings[finding]
	in := func(days float64) assets.Instant {
		return assets.InstantOf(found.Add(time.Duration(days * 24 * float64(time.Hour))))
	}
	plan := b.people[assets.NameKey(planner)]
	b.drafts = append(b.drafts, orderDraft{answers: []int{finding}, order: workorder.Order{Kind: workorder.KindInspection, State: workorder.Signed, ConveyorID: f.ConveyorID, BeltID: f.BeltID,
		SpliceID: f.SpliceID, FindingID: f.ID, Title: "measure splice " + f.Target[1:] + " again", Reason: "finding of grade 3: " + f.Category, Crew: 1, WorkHours: 0.2, RaisedAt: in(0), RaisedBy: f.FoundByID,
		AcceptedAt: in(0.5), AcceptedBy: plan, StartedAt: in(6.9), StartedBy: r.crews[0], DoneAt: in(7), DoneBy: r.crews[0], DoneHours: 0.2, SignedAt: in(7.1), SignedBy: r.crews[0]}})
}

// gradeOf is the grade an inspector gives at a share of the usual life; common practice.
func gradeOf(used float64) int {
	switch {
	case used < 0.6:
		return 1
	case used < 0.95:
		return 2
	default:
		return 3
	}
}
