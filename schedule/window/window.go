// Package window works out the stops of a plant: those entered one by one and the occurrences of those that come
// again, and what a calendar file would change of them. It knows no database and no screen.
//
//	all, err := window.All(rows, recurrences, zone, from, to)
package window

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// An occurrence without a row is numbered by its recurrence and its planned start: negative, so that it is never
// mistaken for a row, and always the same. The minutes of some 120 years fit into the lower part. Above them stand the recurrence's
// place in its customer's block of numbers and the block, which of a customer that was added later is a number of chance up to four
// millions: as one number they would be too long.
const (
	startBits = 26
	startMask = 1<<startBits - 1
	blockSize = 1_000_000_000 // of a customer's numbers, as the database gives them
	placeBits = 15            // 32 767 recurring stops of a customer; the 22 bits left hold the block
	placeMask = 1<<placeBits - 1
)

// MostRecurring is how many recurring stops a customer can have had, those withdrawn counted: the number of an occurrence has room for no more.
const MostRecurring = placeMask

// Numbers tells whether the occurrences of a recurring stop can be numbered.
func Numbers(recurrenceID int64) bool { return recurrenceID%blockSize <= MostRecurring }

// firstDay is the day the minutes of a planned start are counted from.
var firstDay = calendar.NewDate(2000, time.January, 1)

// Number is the ID of an occurrence of which no row stands.
func Number(recurrenceID int64, planned calendar.Local) int64 {
	minutes := int64(planned.Date.DaysSince(firstDay))*24*60 + int64(planned.Time)/60
	block, place := recurrenceID/blockSize, recurrenceID%blockSize
	return -((block<<placeBits|place)<<startBits | minutes&startMask)
}

// Planned returns the recurrence and the planned start of an occurrence's number; ok is false for any other number.
func Planned(id int64) (recurrenceID int64, planned calendar.Local, ok bool) {
	if id >= 0 {
		return 0, calendar.Local{}, false
	}
	minutes := int(-id & startMask)
	recurrence := -id >> startBits
	return recurrence>>placeBits*blockSize + recurrence&placeMask, calendar.Local{Date: firstDay.AddDays(minutes / (24 * 60)), Time: calendar.TimeOfDay(minutes % (24 * 60) * 60)}, true
}

// Occurrences are the stops of a recurring stop that overlap [from, to), in order of time, whatever was said of single ones.
func Occurrences(r assets.StopRecurrence, zone calendar.Zone, from, to time.Time) ([]assets.StopWindow, error) {
	start, length, rule, err := parse(r)
	if err != nil || r.Withdrawn {
		return nil, err
	}
	longest := length + 3*time.Hour // clock changes
	var out []assets.StopWindow
	for _, o := range rule.Between(zone, from.Add(-longest), to) {
		if r.UntilDay != "" && o.Planned.Date.String() > string(r.UntilDay) {
			break
		}
		w := occurrence(r, zone, o, length)
		if w.End.Time().After(from) && w.Start.Time().Before(to) && w.End > w.Start && o.Planned.Compare(start) >= 0 {
			out = append(out, w)
		}
	}
	return out, nil
}

// Skipped are the days in [from, to) on which a recurring stop would begin at a time that the plant's clock skips. None comes then.
func Skipped(r assets.StopRecurrence, zone calendar.Zone, from, to time.Time) ([]calendar.Local, error) {
	_, _, rule, err := parse(r)
	if err != nil || r.Withdrawn {
		return nil, err
	}
	var out []calendar.Local
	for _, o := range rule.Skipped(zone, from, to) {
		if r.UntilDay == "" || o.Planned.Date.String() <= string(r.UntilDay) {
			out = append(out, o.Planned)
		}
	}
	return out, nil
}

// occurrence is one stop of a recurring stop.
func occurrence(r assets.StopRecurrence, zone calendar.Zone, o calendar.Occurrence, length time.Duration) assets.StopWindow {
	end := o.Planned.Add(length)
	w := assets.StopWindow{Version: assets.Version{ID: Number(r.ID, o.Planned)}, PlantID: r.PlantID, LineID: r.LineID, ConveyorIDs: r.ConveyorIDs,
		Start: assets.InstantOf(o.At), End: assets.InstantOf(zone.Instant(end)), StartLocal: o.Planned.String(), EndLocal: end.String(), Note: r.Note, Answer: r.Answer,
		Source: assets.StopSource{RecurrenceID: r.ID, PlannedLocal: o.Planned.String(), CalendarUID: r.CalendarUID}}
	if r.Keeps == assets.KeepsLength {
		at := o.At.Add(length)
		w.End, w.EndLocal = assets.InstantOf(at), zone.Local(at).String()
	}
	return w
}

// parse reads the rule, the first start and the length on the wall.
func parse(r assets.StopRecurrence) (start calendar.Local, length time.Duration, rule *calendar.Recurrence, err error) {
	if start, err = calendar.ParseLocal(r.StartLocal); err != nil {
		return start, 0, nil, err
	}
	end, err := calendar.ParseLocal(r.EndLocal)
	if err != nil {
		return start, 0, nil, err
	}
	length = time.Duration(end.Date.DaysSince(start.Date))*24*time.Hour + time.Duration(end.Time-start.Time)*time.Second
	except := make([]calendar.Local, 0, len(r.Exceptions))
	for _, d := range r.Exceptions {
		day, err := calendar.ParseDate(string(d))
		if err != nil {
			return start, 0, nil, err
		}
		except = append(except, calendar.Local{Date: day, Time: start.Time})
	}
	rule, err = calendar.ParseRecurrence(r.Rule, start, except...)
	return start, length, rule, err
}

// Longest is the longest stop there is, days: a longer standstill is entered as several.
const Longest = 60

// Check refuses a recurring stop that cannot be worked out: fields as the screens name them.
func Check(r assets.StopRecurrence) error {
	bad := assets.Invalid{}
	_, length, rule, err := parse(r)
	switch {
	case err != nil:
		bad.Add("rule", err.Error())
	case length <= 0:
		bad.Add("end", "the stop ends after it begins")
	case length > Longest*24*time.Hour:
		bad.Add("end", fmt.Sprintf("a stop of more than %d days is no stop; check the dates", Longest))
	}
	if r.Keeps != assets.KeepsClock && r.Keeps != assets.KeepsLength {
		bad.Add("keeps", "say whether the clock times or the length count where the clocks change")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	var before calendar.Occurrence
	for i, o := range rule.First(calendar.Zone{}, 60) {
		if i > 0 && o.Planned.Date.DaysSince(before.Planned.Date) < 1 {
			bad.Add("rule", "a recurring stop begins once a day at most; enter two recurring stops instead")
		}
		if i > 0 && before.Planned.Add(length).Compare(o.Planned) > 0 {
			bad.Add("end", "the stop is not over before the next one of it begins; shorten it or let it come less often")
		}
		before = o
	}
	return bad.Err()
}

// All joins the stops that stand as rows with the occurrences of recurring stops of which no row says anything, in order of
// time. Withdrawn rows are left out, but keep the occurrence they stand for away.
func All(rows []assets.StopWindow, recurrences []assets.StopRecurrence, zone calendar.Zone, from, to time.Time) ([]assets.StopWindow, error) {
	said := map[string]bool{}
	var out []assets.StopWindow
	for _, w := range rows {
		if w.Source.RecurrenceID != 0 {
			said[dayKey(w)] = true
		}
		if !w.Withdrawn && w.End.Time().After(from) && w.Start.Time().Before(to) {
			out = append(out, w)
		}
	}
	for _, r := range recurrences {
		some, err := Occurrences(r, zone, from, to)
		if err != nil {
			return nil, fmt.Errorf("recurring stop %d: %w", r.ID, err)
		}
		for _, w := range some {
			if !said[dayKey(w)] {
				out = append(out, w)
			}
		}
	}
	slices.SortFunc(out, func(a, b assets.StopWindow) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.ID, b.ID))
	})
	return out, nil
}

// dayKey is an occurrence's key within all recurrences of a plant: the planned day, so that what was said of one still holds when
// the hour of its recurrence is changed.
func dayKey(w assets.StopWindow) string {
	day, _, _ := strings.Cut(w.Source.PlannedLocal, "T")
	return fmt.Sprint(w.Source.RecurrenceID, " ", day)
}

// One returns an occurrence by its number, assets.ErrNotFound when its recurrence does not come on that day at that time.
func One(r assets.StopRecurrence, zone calendar.Zone, id int64) (assets.StopWindow, error) {
	recurrence, planned, ok := Planned(id)
	if !ok || recurrence != r.ID {
		return assets.StopWindow{}, assets.ErrNotFound
	}
	at := zone.Instant(planned)
	some, err := Occurrences(r, zone, at, at.Add(time.Minute))
	if err != nil {
		return assets.StopWindow{}, err
	}
	for _, w := range some {
		if w.ID == id {
			return w, nil
		}
	}
	return assets.StopWindow{}, assets.ErrNotFound
}
