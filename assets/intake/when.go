package intake

import (
	"fmt"
	"time"

	"carryside/assets"
)

// ReadWhen reads one date of life as a person types it: a day, a day with a time, or words that bound it
// ("spring 2022", "before 2018", "unknown"), as a cell of a list is read. What is not exact is kept as
// written. zone and now are the plant's and the moment of entry.
//
// A date of two orders is not guessed: the error names both days.
func ReadWhen(text string, zone *time.Location, now time.Time) (assets.When, error) {
	text = trimmed(text)
	d := readDate(text, orderOpen)
	switch {
	case d.blank:
		return assets.Between("", "", text, zone, now)
	case d.twoWays && d.dmy != "" && d.mdy != "":
		return assets.When{}, fmt.Errorf("%q can be %s or %s; write the one that is meant", text, d.dmy, d.mdy)
	case d.fault != "":
		return assets.When{}, fmt.Errorf("%q is no date; write it as 2026-11-25, or as it is known: spring 2022, 2019, before 2018, not known", text)
	case d.earliest > assets.DayOf(now.In(zone)):
		return assets.When{}, fmt.Errorf("%q lies in the future; give today or a day before", text)
	case d.approximate:
		return assets.Between(d.earliest, d.latest, text, zone, now)
	case d.timed:
		return timedOn(text, d, zone)
	}
	return assets.OnDay(d.earliest, zone, now)
}

// timedOn is a day with a time of the plant's clock; of a time shown twice it is the first.
func timedOn(text string, d readDateResult, zone *time.Location) (assets.When, error) {
	day, err := time.Parse(time.DateOnly, string(d.earliest))
	if err != nil {
		return assets.When{}, fmt.Errorf("%q is no date; write it as 2026-11-25 14:30", text)
	}
	at := time.Date(day.Year(), day.Month(), day.Day(), 0, d.minute, 0, 0, zone)
	if at.Hour()*60+at.Minute() != d.minute {
		return assets.When{}, fmt.Errorf("the clocks go forward over %q; give a time that the clock showed", text)
	}
	if before := at.Add(-time.Hour).In(zone); before.Hour() == at.Hour() && before.Minute() == at.Minute() {
		at = before
	}
	return assets.Exactly(at, zone), nil
}
