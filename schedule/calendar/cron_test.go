package calendar

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/robfig/cron/v3"
	"pgregory.net/rapid"
)

func TestCronOccurrences(t *testing.T) {
	type planned struct {
		Planned string `json:"planned_local"`
		At      string `json:"at_utc"`
		Note    string `json:"note"`
	}
	notes := map[Showing]string{Once: "", Skipped: "skipped by the clock", Twice: "occurs twice on the clock"}
	for _, c := range readCases[struct {
		ID, Name, Cron, Zone string
		After                string `json:"after_utc"`
		Until                string `json:"until_utc"`
		Expected             []planned
	}](t, "cron.json") {
		t.Run(c.ID+" "+c.Name, func(t *testing.T) {
			expr, err := ParseCron(c.Cron)
			var refused *Refused
			if errors.As(err, &refused) && refused.Kind == NeverOccurs && len(c.Expected) == 0 {
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			var got []planned
			for _, o := range expr.Between(mustZone(t, c.Zone), mustTime(t, c.After), mustTime(t, c.Until)) {
				got = append(got, planned{o.Planned.String(), o.At.Format(time.RFC3339), notes[o.Showing]})
			}
			if !slices.Equal(got, c.Expected) {
				t.Errorf("got  %v\nwant %v", got, c.Expected)
			}
		})
	}
}

func TestCronRefusedWhenSaved(t *testing.T) {
	for _, c := range readCases[struct{ Cron, Product string }](t, "cron-refused.json") {
		_, err := ParseCron(c.Cron)
		if refuse := strings.Contains(c.Product, "refuse"); refuse != (err != nil) {
			t.Errorf("%q gives %v; %s", c.Cron, err, c.Product)
		}
		if err != nil && strings.ContainsAny(err.Error(), "\n") {
			t.Errorf("%q is refused with more than one line: %v", c.Cron, err)
		}
	}
}

// What the parser of the library lets pass or reads as something else; found by running it.
func TestCronRefusesWhatTheLibraryMisreads(t *testing.T) {
	for _, expr := range []string{
		", 6 * * *", "0 6 ,1 * *", "0 6 1, * *", "0 6 1,,2 * *", "*-5 6 * * *", "0 ?-3 * * *",
		"@every 1h", "@EVERY 1h", "@reboot", "@Daily", " TZ=Europe/Berlin 0 6 * * *", "tz=UTC 0 6 * * *", "CRON_TZ=", "CRON_TZ=\t0 6 * * *",
		"0 6 30,31 2 *", "0 6 31 2,4,6,9,11 *", "0 6 31 2 ?", "0 6 1-2-3 * *", "0/5/5 * * * *", "\x00", "0 6 * * MON-", "٠ ٦ * * *",
	} {
		if c, err := ParseCron(expr); err == nil {
			t.Errorf("%q is accepted as %+v", expr, c)
		}
	}
}

func TestCronAccepted(t *testing.T) {
	for _, expr := range []string{
		"  0 6 * * 1  ", "0\t6 * * *", "0 6 ? * MON", "5/15 6-18/4 1,15 JAN-jun *", "0 6 29 2 *", "0 6 31 2 1", "0 6 30 feb sun",
		"@yearly", "@annually", "@monthly", "@weekly", "@daily", "@midnight", "@hourly", "0 6 * * 0-6", "? ? ? ? ?",
	} {
		if _, err := ParseCron(expr); err != nil {
			t.Errorf("%q is refused: %v", expr, err)
		}
	}
}

// drawCron draws an expression with stars, lists, ranges, steps and names.
func drawCron(t *rapid.T) string {
	field := func(name string, low, high int) string {
		a := rapid.IntRange(low, high).Draw(t, name+" from")
		b := rapid.IntRange(a, high).Draw(t, name+" to")
		step := rapid.IntRange(1, 12).Draw(t, name+" step")
		return rapid.SampledFrom([]string{
			"*", "?", fmt.Sprint(a), fmt.Sprintf("%d,%d", a, b), fmt.Sprintf("%d-%d", a, b), fmt.Sprintf("%d-%d/%d", a, b, step),
			fmt.Sprintf("*/%d", step), fmt.Sprintf("%d/%d", a, step),
		}).Draw(t, name)
	}
	minute := fmt.Sprint(rapid.IntRange(0, 59).Draw(t, "minute"))
	return strings.Join([]string{minute, field("hour", 0, 23), field("day", 1, 31), field("month", 1, 12), field("weekday", 0, 6)}, " ")
}

// Where the clock never changes the library and we must plan the same instants.
func TestCronAgreesWithTheLibraryWithoutClockChanges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		expr := drawCron(t)
		ours, err := ParseCron(expr)
		if err != nil {
			return
		}
		theirs, err := cron.ParseStandard("CRON_TZ=UTC " + expr)
		if err != nil {
			t.Fatal(err)
		}
		after := time.Unix(rapid.Int64Range(1.5e9, 2e9).Draw(t, "after"), 0).UTC()
		at := after
		for _, o := range ours.Between(Zone{}, after, after.AddDate(0, 0, 60)) {
			if at = theirs.Next(at); !o.At.Equal(at) {
				t.Fatalf("%q: ours %s, the library's %s", expr, o.At, at)
			}
		}
		first, ok := ours.Next(Zone{}, after)
		if want := theirs.Next(after); !ok || !first.At.Equal(want) {
			t.Fatalf("%q: next %s (%v), the library's %s", expr, first.At, ok, want)
		}
	})
}

// However the days are cut into looks, each planned date and time comes exactly once, and it comes for every date that is planned.
func TestEachPlannedTimeComesOnceHoweverOftenOneLooks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		expr := drawCron(t)
		c, err := ParseCron(expr)
		if err != nil {
			return
		}
		z, err := LoadZone(rapid.SampledFrom(difficultZones).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		start := time.Unix(rapid.Int64Range(1.3e9, 1.9e9).Draw(t, "start"), 0).UTC()
		end := start.AddDate(0, 0, 45)
		raised := map[Local]time.Time{}
		for at := start; at.Before(end); {
			next := at.Add(time.Duration(rapid.IntRange(1, 400).Draw(t, "hours to the next look")) * time.Hour)
			if next.After(end) {
				next = end
			}
			for _, o := range c.Between(z, at, next) {
				if _, twice := raised[o.Planned]; twice {
					t.Fatalf("%q in %s: %s comes twice", expr, z, o.Planned)
				}
				raised[o.Planned] = o.At
			}
			at = next
		}
		// Two days inside, every planned date is whole, the skipped ones included.
		for d := z.Date(start).AddDays(3); d.Before(z.Date(end).AddDays(-3)); d = d.AddDays(1) {
			for hour := range 24 {
				for minute := range 60 {
					planned := c.On(d) && c.hour&(1<<hour) != 0 && c.minute&(1<<minute) != 0
					if _, came := raised[Local{d, At(hour, minute)}]; came != planned {
						t.Fatalf("%q in %s: %s %02d:%02d planned %v, came %v", expr, z, d, hour, minute, planned, came)
					}
				}
			}
		}
	})
}

func TestNextFindsLeapDaysOverACentury(t *testing.T) {
	c, err := ParseCron("0 6 29 2 *")
	if err != nil {
		t.Fatal(err)
	}
	o, ok := c.Next(mustZone(t, "Europe/Berlin"), mustTime(t, "2096-03-01T00:00:00Z"))
	if !ok || o.Planned.String() != "2104-02-29T06:00" {
		t.Errorf("next is %s (%v); 2100 is no leap year", o.Planned, ok)
	}
	if _, ok := (Cron{}).Next(Zone{}, mustTime(t, "2026-01-01T00:00:00Z")); ok {
		t.Error("the zero expression has a next occurrence")
	}
}

func FuzzParseCron(f *testing.F) {
	for _, c := range readCases[struct{ Cron string }](f, "cron-refused.json") {
		f.Add(c.Cron)
	}
	for _, c := range readCases[struct{ Cron string }](f, "cron.json") {
		f.Add(c.Cron)
	}
	zone := mustZone(f, "Europe/Berlin")
	after := mustTime(f, "2026-03-28T12:00:00Z")
	f.Fuzz(func(t *testing.T, expr string) {
		c, err := ParseCron(expr)
		if err != nil {
			if !errors.As(err, new(*Refused)) {
				t.Errorf("%q is refused without a class: %v", expr, err)
			}
			return
		}
		if o, ok := c.Next(zone, after); !ok || !o.At.After(after) {
			t.Errorf("%q is accepted and never occurs", expr)
		}
	})
}

func TestARefusedExpressionNamesTheFieldThatIsWrong(t *testing.T) {
	for expr, want := range map[string]string{
		"61 * * * *": `"61" as its minute`, "0 */0 * * *": `"*/0" as its hour`, "0 6 32 * *": "as its day of month", "0 6 * FOO *": "as its month",
		"0 6 * * 9": "as its day of week", "0 6 * *": "has 4 fields", "@nightly": "@daily",
	} {
		_, err := ParseCron(expr)
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "range (") {
			t.Errorf("%s: %v, want a sentence with %s", expr, err, want)
		}
	}
}
