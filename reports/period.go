package reports

import (
	"fmt"
	"time"

	"carryside/assets"
)

// Period is the days an extract covers, both included, each in its plant's zone. An empty day leaves that side open.
type Period struct {
	From assets.Day
	To   assets.Day
}

// Span is a stretch of time: from its first instant to before its last; the zero time leaves a side open.
type Span struct{ From, To time.Time }

// Holds tells whether an instant lies in the span.
func (s Span) Holds(at time.Time) bool {
	return !at.Before(s.From) && (s.To.IsZero() || at.Before(s.To))
}

// check refuses days that are none, and a period that ends before it begins.
func (p Period) check() error {
	bad := assets.Invalid{}
	for name, day := range map[string]assets.Day{"from": p.From, "to": p.To} {
		if day == "" {
			continue
		}
		if _, err := day.End(time.UTC); err != nil {
			bad.Add(name, err.Error())
		}
	}
	if len(bad) == 0 && p.From != "" && p.To != "" && p.To < p.From {
		bad.Add("to", "this day lies before the first; give a later one")
	}
	return bad.Err()
}

// span is the period in a zone; it ends at the latest with what the report looks at.
func (p Period) span(zone *time.Location, now time.Time) (Span, error) {
	s := Span{To: now}
	if p.From != "" {
		first, err := p.From.Midnight(zone)
		if err != nil {
			return s, err
		}
		s.From = first.UTC()
	}
	if p.To != "" {
		end, err := p.To.End(zone)
		if err != nil {
			return s, err
		}
		if end.Before(now) {
			s.To = end.UTC()
		}
	}
	return s, nil
}

// Words says the period as people read it; "" is all time.
func (p Period) Words() string {
	switch {
	case p.From != "" && p.To != "":
		return ShownDay(p.From) + " to " + ShownDay(p.To)
	case p.From != "":
		return "from " + ShownDay(p.From)
	case p.To != "":
		return "to " + ShownDay(p.To)
	}
	return ""
}

// inTime refuses what has not come yet: a report of tomorrow would be one of now under another name. Zones are those in
// which a day may have begun already.
func (in Inputs) inTime(a AsOf, day string, zones []*time.Location) error {
	bad := assets.Invalid{}
	later := func(name, asked string, of []*time.Location) {
		if at, err := time.Parse(time.RFC3339, asked); err == nil {
			if at.After(a.Built) {
				bad.Add(name, fmt.Sprintf("%s has not come yet; give an instant up to now, %s", asked, a.Built.Format(time.RFC3339)))
			}
			return
		}
		today := assets.Day("")
		for _, zone := range of {
			today = max(today, assets.DayOf(a.Built.In(zone)))
		}
		if assets.Day(asked) > today {
			bad.Add(name, "this day has not come yet; give "+string(today)+" or a day before")
		}
	}
	later("as-of", day, zones)
	later("known-at", in.Known.text, []*time.Location{in.Zone})
	later("from", string(in.Period.From), zones)
	later("to", string(in.Period.To), zones)
	return bad.Err()
}
