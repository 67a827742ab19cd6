package samplefleet

import (
	"fmt"
	"math"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// run is one conveyor living through its history, week by week.
type run struct {
	b         *builder
	plant     assets.Plant
	zone      *time.Location
	spec      siteConveyor
	conveyor  assets.Conveyor
	specID    int64
	ratio     float64
	weekH     float64 // planned hours a week
	hours     float64 // running hours so far
	loopM     float64
	usedM     float64 // take-up travel used, from the new-belt end: what re-splices may still give back
	belt      int     // index of the belt row in force
	beltSince time.Time
	live      []liveSplice
	crews     []int64
}

// liveSplice is a splice that still runs, with the passes it has made and the passes it was drawn to last.
type liveSplice struct {
	index        int
	passes, life float64
	positionM    float64
	number       string
}

// plannedHours sums the shifts of a week; a shift ends on the next day when its end is not after its start.
func plannedHours(shifts []assets.Shift) float64 {
	minutes := func(s string) int {
		var h, m int
		if _, err := fmt.Sscanf(s, "%d:%d", &h, &m); err != nil {
			panic("samplefleet: shift time " + s)
		}
		return h*60 + m
	}
	total := 0
	for _, s := range shifts {
		d := minutes(s.End) - minutes(s.Start)
		if d <= 0 {
			d += 24 * 60
		}
		total += d
	}
	return float64(total) / 60
}

// cutM is the belt a re-splice costs: finger: one finger length each end plus trimming; stepped: the old splice
// and the new steps; fasteners: the holes of the old row. Common practice.
func (c siteConveyor) cutM() float64 {
	switch {
	case c.form.Mechanical():
		return 0.12
	case c.form == assets.FormStepped:
		return 3*0.25*2 + 0.05
	}
	return 2*0.08 + 0.03
}

// fit puts a new belt on at t with all its splices.
func (r *run) fit(t time.Time, first bool) {
	b := r.b
	r.loopM, r.usedM, r.beltSince = r.spec.loopM(), 0.85*r.spec.travelM, t
	if first { // the belts that hang when the history begins are of different ages
		r.beltSince = t.Add(-time.Duration(b.between(0, 0.9) * r.spec.beltYears * 365.25 * 24 * float64(time.Hour)))
	}
	used := r.usedM
	fitted := assets.Exactly(t, r.zone)
	who := r.crews[b.rng.IntN(len(r.crews))]
	belt := assets.Belt{Version: b.version("belts", t), PlantID: r.plant.ID, ConveyorID: r.conveyor.ID, SpecificationID: r.specID,
		Specification: r.spec.specification, WidthM: r.spec.widthM, LoopLengthM: round(r.loopM, 2), ThicknessM: r.spec.thicknessM,
		RollNumber: fmt.Sprintf("%02d-%04d", t.Year()%100, 100+b.rng.IntN(9000)), Fitted: fitted, FittedByID: who, TakeUpUsedM: &used}
	b.fleet.Belts = append(b.fleet.Belts, belt)
	r.belt = len(b.fleet.Belts) - 1
	r.live = nil
	for i := range r.spec.splices {
		pos := round(r.loopM*(float64(i)+0.35)/float64(r.spec.splices)*b.between(0.96, 1.04), 1)
		if i == 1 && r.spec.tag == "R2" {
			r.splice(t, pos, "2", who, assets.When{At: assets.InstantOf(t), Earliest: fitted.Earliest}) // nobody wrote its date down
			continue
		}
		made := fitted
		if r.spec.tag == "G2" {
			made = r.season(t)
		}
		r.splice(t, pos, fmt.Sprint(i+1), who, made)
	}
}

// season is the date of a crew that wrote down the season only: spring or autumn, as an interval that holds t.
func (r *run) season(t time.Time) assets.When {
	year, first, last, word := t.In(r.zone).Year(), "03-01", "05-31", "spring"
	switch m := t.In(r.zone).Month(); {
	case m >= 6 && m <= 8:
		first, last, word = "06-01", "08-31", "summer"
	case m >= 9 && m <= 11:
		first, last, word = "09-01", "11-30", "autumn"
	case m < 3 || m == 12:
		return assets.Exactly(t, r.zone) // a winter has two years; that crew gave the day
	}
	w, err := assets.Between(assets.Day(fmt.Sprintf("%d-%s", year, first)), assets.Day(fmt.Sprintf("%d-%s", year, last)), fmt.Sprintf("%s %d", word, year), r.zone, r.b.today)
	if err != nil {
		panic("samplefleet: " + err.Error())
	}
	return w
}

// splice makes one splice at t and draws its life.
func (r *run) splice(t time.Time, pos float64, number string, who int64, made assets.When) int {
	b, c := r.b, Cohorts[r.spec.cohort]
	life := c.ScalePasses * math.Pow(-math.Log(1-b.rng.Float64()), 1/c.Shape)
	p := pos
	s := assets.Splice{Version: b.version("splices", t), PlantID: r.plant.ID, ConveyorID: r.conveyor.ID, BeltID: b.fleet.Belts[r.belt].ID,
		Number: number, PositionM: &p, Form: r.spec.form, Bond: r.spec.bond, Made: made, MadeByID: who}
	switch {
	case r.spec.form == assets.FormStepped:
		s.StepLengthM, s.Steps, s.BiasAngleDeg = 0.25, 3, 22
	case r.spec.form == assets.FormFinger:
		s.FingerPitchM, s.FingerLengthM = 0.015, 0.07
	}
	b.fleet.Splices = append(b.fleet.Splices, s)
	i := len(b.fleet.Splices) - 1
	r.live = append(r.live, liveSplice{index: i, life: life, positionM: pos, number: number})
	return i
}

// end retires a live splice at t.
func (r *run) end(l liveSplice, t time.Time, why assets.RetiredWhy, mode string) {
	s := &r.b.fleet.Splices[l.index]
	at := assets.InstantOf(t)
	s.Ended, s.Retired, s.RetiredWhy, s.FailureMode = &at, assets.Exactly(t, r.zone), why, mode
}

// failureModes are what splices of a form fail by, as many for each; common practice words.
func failureModes(f assets.Form) []string {
	switch {
	case f.Mechanical():
		return []string{"fasteners pulled out", "plates worn through", "pins or bolts worn", "edge torn", "belt torn behind the fasteners"}
	case f == assets.FormFinger || f == assets.FormFingerOverFinger:
		return []string{"fingers opened at the edge", "tips lifted on the tail pulley", "finger tips lifted", "edge torn", "opened along the seam"}
	}
	return []string{"opened along the seam", "cover step lifted on the tail pulley", "bond let go at the leading step", "edge torn", "cover strip lifted"}
}

// stretchPerYear is how much of its length a belt in service grows in a year, taken up by the take-up; rule of thumb.
const stretchPerYear = 0.0006

// week runs the conveyor through one week from t and does what falls in it.
func (r *run) week(t time.Time) {
	b := r.b
	h := r.weekH * r.ratio * math.Exp(0.09*b.rng.NormFloat64())
	if _, w := t.ISOWeek(); w == 52 || w == 30 {
		h *= 0.25 // the plant's two quiet weeks
	}
	h = math.Min(h, 166)
	passes := 3600 * r.spec.speedMPS * h / r.loopM
	c := Cohorts[r.spec.cohort]
	keep := r.live
	r.live = nil
	for _, l := range keep {
		switch {
		case l.passes+passes >= l.life:
			share := (l.life - l.passes) / passes
			r.remake(l, t.Add(time.Duration(share*7*24*float64(time.Hour))).Truncate(time.Minute), assets.RetiredFailed)
			if next := &r.live[len(r.live)-1]; next.index != l.index {
				next.passes = (1 - share) * passes // the rest of the week is run by the new one
			}
		case c.PlannedAt > 0 && l.passes+passes >= c.PlannedAt && b.rng.Float64() < 0.12:
			r.remake(l, t.Add(time.Duration(b.between(60, 110)*float64(time.Hour))).Truncate(time.Minute), assets.RetiredPlanned)
		default:
			l.passes += passes
			r.live = append(r.live, l)
		}
	}
	r.hours += h
	r.usedM = math.Min(r.spec.travelM, r.usedM+r.loopM*stretchPerYear/52)
	r.changeWornBelt(t)
}

// changeWornBelt fits a new belt when the cover is worn or the take-up has nothing left to give back.
func (r *run) changeWornBelt(t time.Time) {
	worn := t.Sub(r.beltSince).Hours() > r.spec.beltYears*365.25*24*r.b.between(0.98, 1.05)
	if !worn && r.usedM >= r.spec.cutM()/2 {
		return
	}
	at := t.AddDate(0, 0, 7) // at the turn of the week, after whatever was remade in it
	if at.After(r.b.today) {
		return
	}
	why := "cover worn"
	if !worn {
		why = "take-up back at its new-belt end, no length left for a re-splice"
	}
	var retired []int
	for _, l := range r.live {
		r.end(l, at, assets.RetiredBeltRemoved, "")
		retired = append(retired, l.index)
	}
	old := &r.b.fleet.Belts[r.belt]
	end := assets.InstantOf(at)
	old.Removed, old.RemovedWhen, old.RemovedWhy = &end, assets.Exactly(at, r.zone), why
	r.fit(at, false)
	var made []int
	for _, l := range r.live {
		made = append(made, l.index)
	}
	r.order(workorder.KindBeltChange, "renew the belt", why, at, 9, made, retired)
}

// remake replaces splice l at t: the loop is shortened, the take-up comes back towards its new-belt end by half
// of it.
func (r *run) remake(l liveSplice, t time.Time, why assets.RetiredWhy) {
	if made := r.b.fleet.Splices[l.index].Made.At.Time(); !t.After(made) {
		t = made.Add(30 * time.Minute) // it let go in its first minutes
	}
	if t.After(r.b.today) {
		l.passes = math.Min(l.passes, l.life*0.999)
		r.live = append(r.live, l)
		return
	}
	b := r.b
	mode := ""
	if why == assets.RetiredFailed {
		modes := failureModes(b.fleet.Splices[l.index].Form)
		mode = modes[b.rng.IntN(len(modes))]
	}
	r.end(l, t, why, mode)
	cut := r.spec.cutM()
	r.loopM -= cut
	r.usedM -= cut / 2
	old := &b.fleet.Belts[r.belt]
	from := assets.InstantOf(t)
	next := *old
	old.ValidTo = &from
	used := round(r.usedM, 3)
	next.ValidFrom, next.LoopLengthM, next.TakeUpUsedM = from, round(r.loopM, 2), &used
	b.fleet.Belts = append(b.fleet.Belts, next)
	r.belt = len(b.fleet.Belts) - 1
	who := r.crews[b.rng.IntN(len(r.crews))]
	hours := 4 + 4*b.rng.Float64()
	if r.loopM < 60 {
		hours = 1.5 + b.rng.Float64()
	}
	i := r.splice(t, l.positionM, l.number, who, assets.Exactly(t, r.zone))
	reason := "planned by age"
	if why == assets.RetiredFailed {
		reason = "failed: " + mode
	}
	r.order(workorder.KindResplice, "remake splice "+l.number, reason, t, hours, []int{i}, []int{l.index})
}

// order drafts a signed order for work done at t.
func (r *run) order(kind workorder.Kind, title, reason string, t time.Time, hours float64, made, retired []int) {
	in := func(h float64) assets.Instant { return assets.InstantOf(t.Add(time.Duration(h * float64(time.Hour)))) }
	who, planner := r.crews[r.b.rng.IntN(len(r.crews))], r.b.people[assets.NameKey(planner)]
	raised, placed := -24.0*14, true
	if strings.HasPrefix(reason, "failed") {
		raised, placed = -0.5, false
	}
	o := workorder.Order{Kind: kind, State: workorder.Signed, ConveyorID: r.conveyor.ID, BeltID: r.b.fleet.Belts[r.belt].ID,
		Title: title, Reason: reason, WorkHours: round(hours, 1), Crew: 2, RaisedAt: in(raised), AcceptedAt: in(raised / 2), AcceptedBy: planner,
		StartedAt: in(-hours), StartedBy: who, DoneAt: in(0), DoneBy: who, DoneHours: round(hours, 1), SignedAt: in(0.7), SignedBy: who}
	if placed {
		o.PlacedAt, o.PlacedBy = in(raised/4), planner
	}
	if len(made) == 1 {
		o.SpliceID = r.b.fleet.Splices[made[0]].ID
	}
	r.b.drafts = append(r.b.drafts, orderDraft{order: o, made: made, retired: retired})
}

func round(v float64, digits int) float64 {
	p := math.Pow10(digits)
	return math.Round(v*p) / p
}
