package rules

import (
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// Stroke is one occurrence on the year strip.
type Stroke struct {
	At    time.Time  // when it is raised
	DueAt time.Time  // when it falls due
	Day   assets.Day // plant date of DueAt
	Past  bool       // in the year gone by
}

// PreviewRow is one target of the year strip.
type PreviewRow struct {
	Target     Target
	ScopeFrom  time.Time // in scope from; zero: all along
	ScopeUntil time.Time // until; zero: beyond the year
	Stands     []Stroke  // as the rule stands; none for a new rule
	Edited     []Stroke
}

// Counts are how many orders or reminders a rule raises.
type Counts struct{ LastYear, NextYear int }

// Preview is what a rule would have raised over the last year and will raise in the next.
type Preview struct {
	From, Now, Until time.Time
	Rows             []PreviewRow // those in scope at any time of the two years
	Stands, Edited   Counts
	AtOnce           int // raised as soon as the edited rule is saved: what is past its limit already
}

// Preview shows a rule as it stands (nil for a new one) and as edited, before it is saved: as if each had been
// in force since before the last year, and in the next with the hours as they are projected today. Nothing
// raised before hides a stroke. Counted from the last completion, what is not yet done is taken as done on its due
// date. Splices to be made and findings to come in the next year are not foreseen.
func (o *Outlook) Preview(stands *Rule, edited Rule) Preview {
	p := Preview{From: o.in.Now.AddDate(-1, 0, 0), Now: o.in.Now, Until: o.in.Now.AddDate(1, 0, 0)}
	rows := map[Target]*PreviewRow{}
	var order []Target
	row := func(t Target) *PreviewRow {
		if rows[t] == nil {
			rows[t] = &PreviewRow{Target: t}
			order = append(order, t)
		}
		return rows[t]
	}
	for _, t := range o.inScope(edited, p.Until) {
		if edited.Trigger.Kind != TriggerGrade && t.overlaps(p.From, p.Until) {
			r := row(t.Target)
			r.ScopeFrom, r.ScopeUntil = t.from, t.until
		}
	}
	o.imagine(edited, p, func(q Proposal) { row(q.Target).Edited = append(row(q.Target).Edited, p.stroke(q, &p.Edited)) })
	if stands != nil {
		o.imagine(*stands, p, func(q Proposal) { row(q.Target).Stands = append(row(q.Target).Stands, p.stroke(q, &p.Stands)) })
	}
	for _, t := range order {
		inOrder(rows[t].Stands)
		inOrder(rows[t].Edited)
		p.Rows = append(p.Rows, *rows[t])
	}
	p.AtOnce = o.atOnce(edited)
	return p
}

// atOnce counts what a rule raises when it is saved now.
func (o *Outlook) atOnce(r Rule) int {
	r.StartsAt, r.Off = assets.InstantOf(o.in.Now), false
	now := r.StartsAt.Time()
	return o.Count(r, now.Add(-time.Microsecond), now)
}

func inOrder(strokes []Stroke) {
	slices.SortStableFunc(strokes, func(a, b Stroke) int { return a.At.Compare(b.At) })
}

func (s stretch) overlaps(from, until time.Time) bool {
	return s.from.Before(until) && (s.until.IsZero() || s.until.After(from))
}

func (p Preview) stroke(q Proposal, c *Counts) Stroke {
	s := Stroke{At: q.RaiseAt, DueAt: q.DueAt, Day: q.DueDay, Past: !q.RaiseAt.After(p.Now)}
	if s.Past {
		c.LastYear++
	} else {
		c.NextYear++
	}
	return s
}

// imagine visits what a rule raises in the two years as if it had been in force since before them. Of what
// repeats, counting begins with the two years: nothing before is looked at.
func (o *Outlook) imagine(r Rule, p Preview, visit func(Proposal)) {
	r.StartsAt, r.Off = 0, false
	if r.Trigger.Repeats || r.PlansDates() || r.Trigger.CountedFrom == FromCompletion {
		r.StartsAt = assets.InstantOf(p.From)
	}
	r.Trigger = r.Trigger.begunBy(o.zone.Date(p.From))
	fresh := o.forgetting().silently()
	if r.Trigger.CountedFrom == FromCompletion && r.Trigger.Kind != TriggerCron {
		fresh.chain(r, p, visit)
		return
	}
	if r.AppliesTo(o.in.Plant) {
		fresh.within(r, p.From.Add(-time.Microsecond), p.Until, visit)
	}
}

// begunBy is a trigger counted from the plan whose first date is moved back by whole intervals until it is no later than a
// day; months are moved by whole years, so that the 31st stays the last of a month.
func (t Trigger) begunBy(day calendar.Date) Trigger {
	anchor, ok := t.anchor()
	every, err := calendar.NewInterval(t.Every, t.Unit)
	if !ok || err != nil || t.Kind != TriggerInterval || t.CountedFrom == FromCompletion || t.CountedFrom == FromMade {
		return t
	}
	at := anchor.Date
	for at.After(day) {
		var before calendar.Date
		switch every.Unit {
		case calendar.Days:
			before = at.AddDays(-t.Every)
		case calendar.Weeks:
			before = at.AddDays(-7 * t.Every)
		case calendar.Months:
			years := t.Every // so many years are a whole number of intervals, whatever the months of one
			if 12%t.Every == 0 {
				years = 1
			}
			before = at.AddMonths(-12 * years)
		case calendar.Years:
			before = at.AddMonths(-12 * t.Every)
		default:
			return t
		}
		if !before.Before(at) || before.IsZero() {
			break
		}
		at = before
	}
	t.AnchorDay = assets.Day(at.String())
	return t
}

// forgetting is the same plant as if its rules had raised nothing; what was completed stays known.
func (o *Outlook) forgetting() *Outlook {
	c := *o
	c.forgets = true
	c.past = history{orders: o.past.orders, done: o.past.done}
	return &c
}

// chain follows a rule that counts from completions through the two years: each cycle begins with what was
// completed by then, or with the due date of the one before.
func (o *Outlook) chain(r Rule, p Preview, visit func(Proposal)) {
	for _, t := range o.inScope(r, p.Until) {
		at := p.From
		if e, ok := o.eventOf(r, t); ok && r.Trigger.Kind != TriggerInterval && e.completed == nil {
			at = e.at
		}
		if done := o.past.completion(r, t.Target); done != nil {
			at = done.DoneAt.Time()
		}
		for range 2 * 366 {
			q, ok := o.following(r, t, at)
			if !ok || q.RaiseAt.After(p.Until) || !q.DueAt.After(at) {
				break
			}
			if !q.RaiseAt.Before(p.From) && t.holds(q.DueAt) {
				visit(q)
			}
			at = q.DueAt
		}
	}
}

// following is the occurrence that follows a completion at an instant.
func (o *Outlook) following(r Rule, t inScope, done time.Time) (Proposal, bool) {
	var due time.Time
	var ok bool
	if r.Trigger.Kind == TriggerInterval {
		due, ok = o.intervalAfter(r.Trigger, done)
	} else if c, counts := o.counterOf(r.Trigger.Kind, t.ConveyorID, t.BeltID, done); counts && r.countsFrom(t.own) {
		due, ok = c.reaches(r.Trigger.count())
	}
	if !ok {
		return Proposal{}, false
	}
	return o.proposal(r, t.Target, "", due, o.day(due), o.daysBefore(due, r.Template.LeadDays)), true
}
