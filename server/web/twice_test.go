package web

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
)

// By the European rule (Directive 2000/84/EC) the clock goes back at 01:00 UTC on the last Sunday of October, in 2026
// on the 25th: in Oslo 02:30 is 00:30 UTC and, an hour later, 01:30 UTC.

func autumn(hour, minute int) assets.Instant {
	return assets.InstantOf(time.Date(2026, 10, 25, hour, minute, 0, 0, time.UTC))
}

func TestAMeterReadWhileTheClockGoesBackIsAskedWhichHourWasMeant(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	path := "/plants/3/conveyors/3/reading"
	form := url.Values{"at": {"2026-10-25T02:30"}, "shown_h": {"10100.5"}, "remark": {"night shift"}}
	v.refused(path, form, "at_which")
	d := v.post(path, form, 422)
	if got := text(d, ".note.bad li"); !strings.Contains(got, "The clock shows 02:30 twice on 25 Oct 2026, because it goes back that night; say which of the two is meant.") {
		t.Errorf("asked %q", got)
	}
	if got := text(d, "fieldset.pick"); !strings.Contains(got, "the first, before the clock goes back (UTC+02:00)") || !strings.Contains(got, "the second, after the clock has gone back (UTC+01:00)") {
		t.Errorf("offered %q", got)
	}
	for which, want := range map[string]assets.Instant{"first": autumn(0, 30), "second": autumn(1, 30)} {
		form.Set("at_which", which)
		v.taken(path, form)
		if rd := one[[]ReadingEntered](t, f.office())[0]; rd.At != want || rd.ShownH != 10100.5 {
			t.Errorf("%s: kept %+v", which, rd)
		}
	}
	form.Set("at_which", "third")
	v.refused(path, form, "at_which")
}

func TestARoundReadWhileTheClockGoesBackKeepsWhatWasTyped(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleTechnician)
	form := url.Values{"at": {"2026-10-25T02:59"}, "h3": {"10100"}}
	v.refused("/plants/3/readings", form, "at_which")
	form.Set("at_which", "second")
	v.taken("/plants/3/readings", form)
	if rd := one[[]ReadingEntered](t, f.office())[0]; rd.At != autumn(1, 59) {
		t.Errorf("kept %+v", rd)
	}
}

func TestAStopThatBeginsInTheHourThatComesTwice(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	form := url.Values{"answer": {"agreed"}, "line_id": {"2"}, "start": {"2027-10-31T02:15"}, "end": {"2027-10-31T02:15"}}
	v.refused("/plants/3/stops/new", form, "start_which", "end_which")
	form.Set("start_which", "first")
	form.Set("end_which", "second")
	form.Set("keep", "clock")
	v.taken("/plants/3/stops/new", form)
	w := one[assets.StopWindow](t, f.office())
	if stopHours(w) != 1 || w.Start.Time() != time.Date(2027, 10, 31, 0, 15, 0, 0, time.UTC) {
		t.Errorf("kept %+v", w)
	}
	f.stops = append(f.stops, func() assets.StopWindow { w.ID, w.RowID = 91, 910; return w }())
	shown := filledForm(v.get("/plants/3/stops/91"))
	if shown.Get("start_which") != "first" || shown.Get("end_which") != "second" {
		t.Errorf("shown again as %v", shown)
	}
	shown.Set("note", "agreed with the shift lead")
	shown.Set("keep", "clock")
	v.taken("/plants/3/stops/91", shown)
	if again := one[assets.StopWindow](t, f.office()); again.Start != w.Start || again.End != w.End {
		t.Errorf("untouched, it moved from %v to %v", w.Start.Time(), again.Start.Time())
	}
}

func TestATimeThatTheClockSkipsInSpringIsRefusedInOneSentence(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	form := url.Values{"at": {"2026-03-29T02:30"}, "shown_h": {"10100.5"}}
	v.refused("/plants/3/conveyors/3/reading", form, "at")
	d := v.post("/plants/3/conveyors/3/reading", form, 422)
	if got := text(d, ".note.bad li"); !strings.HasSuffix(got, "The clock goes forward over 02:30 that night and never shows it; give a time that it shows.") {
		t.Errorf("told %q", got)
	}
}

// Work that began in the hour that comes twice is asked about in the form of the order's step too.
func TestWorkStartedWhileTheClockGoesBack(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	f.orders[1].State = "placed"
	start := step("start", "at", "2026-10-25T02:30")
	d := v.post("/plants/3/orders/415", start, 422)
	if d.Find(`.note.bad li`).Length() != 1 || d.Find(`.note.bad a[href="#f-start-at_which"]`).Length() != 1 || d.Find(`#f-start-at_which`).Length() != 1 {
		t.Errorf("not asked: %s", text(d, ".note.bad"))
	}
	start.Set("at_which", "second")
	v.send("/plants/3/orders/415", start, 303)
	if f.orders[1].StartedAt != autumn(1, 30) {
		t.Errorf("started %v", f.orders[1].StartedAt.Time())
	}
}
