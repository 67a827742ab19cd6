package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"testing"

	"carryside/assets"
	"carryside/schedule/clock"
)

// fakeOffice keeps what the forms of the register change, beside a fake plant.
type fakeOffice struct {
	visits []VisitNeed
	issued []issuedFake
	asked  JournalAsked
	proof  ChainProof
	plant  *fakePlant
	acts   []Act
	kept   []any // rows as the last changes gave them
	from   []assets.Instant
	fail   error // what the next change answers

	booked, counted int // lines of the ledger, and of what moved the counters of a piece of kit

	week     *WeekFacts
	weekOf   assets.Day // the only Monday of which the week is told; "": any
	crew     *CrewList
	series   []assets.StopRecurrence
	stopPast []StopPast
	groups   []assets.IsolationGroup

	last    map[int64]assets.Reading
	meters  map[int64][]assets.Meter
	waiting []assets.HeldReading
	named   []KeptHeadings   // headings kept under a name
	leaves  []assets.Reading // what the held one leaves out if it is right

	recipes []assets.Recipe

	files []assets.Attachment // kept with things
	trace []byte              // what is in each of them; nil: words

	entries   []assets.JobEntry // noted on the headed sheet
	headed    *assets.JobSheet  // the sheet of every order; nil: as its template has it
	stands    bool              // a conveyor stands by a failure
	restores  int64             // the order named as restoring it
	grave     bool              // a grade 4 of a round waits for an answer
	importing chan struct{}     // holds the importer until it is closed; nil: it never waits
}

// office returns the office of a fake plant, one for all its sources.
func (f *fakePlant) office() *fakeOffice {
	if f.books == nil {
		o := &fakeOffice{plant: f, last: map[int64]assets.Reading{}, meters: map[int64][]assets.Meter{}}
		o.last[3] = assets.Reading{ConveyorID: 3, At: on(2026, 11, 24).At, ShownH: 10408.5}
		first := assets.Meter{ConveyorID: 3, PlantID: 3, Why: assets.MeterFirst, ResolutionH: 0.1}
		first.ID, first.RowID = 70, 170
		next := assets.Meter{ConveyorID: 3, PlantID: 3, Why: assets.MeterReplaced, FromAt: on(2022, 2, 12).At, OffsetH: 21000, ResolutionH: 0.1}
		next.ID, next.RowID = 71, 171
		o.meters[3] = []assets.Meter{first, next}
		o.waiting = []assets.HeldReading{{ID: 5, PlantID: 3, ConveyorID: 3, At: on(2026, 11, 20).At, ShownH: 412, Class: string(clock.Backwards),
			Question: "Q3 showed 10 380 h on 10 Nov and 412 h on 20 Nov: was the meter replaced?", Origin: "screen"}}
		f.books = o
	}
	return f.books
}

// change notes a change, or refuses it the way the test wants.
func (o *fakeOffice) change(act Act, rows ...any) error {
	if err := o.fail; err != nil {
		o.fail = nil
		return err
	}
	o.acts, o.kept = append(o.acts, act), rows
	return nil
}

func found[T any](x T, ok bool) (T, error) {
	if !ok {
		return x, assets.ErrNotFound
	}
	return x, nil
}

func (o *fakeOffice) Conveyor(_ context.Context, _ assets.Scope, id int64) (assets.Conveyor, error) {
	return found(o.plant.fleet.Register.Conveyor(id))
}

func (o *fakeOffice) Belt(_ context.Context, _ assets.Scope, id int64) (assets.Belt, error) {
	return found(o.plant.fleet.Register.Belt(id))
}

func (o *fakeOffice) Splice(_ context.Context, _ assets.Scope, id int64) (assets.Splice, error) {
	for _, s := range o.plant.past[3].Splices {
		if s.ID == id {
			return s, nil
		}
	}
	return found(o.plant.fleet.Register.Splice(id))
}

func (o *fakeOffice) Finding(_ context.Context, _ assets.Scope, id int64) (assets.Finding, error) {
	if id != 1 {
		return assets.Finding{}, assets.ErrNotFound
	}
	return o.plant.past[3].Findings[0], nil
}

func (o *fakeOffice) AddConveyor(_ context.Context, _ assets.Scope, act Act, c *assets.Conveyor) error {
	c.ID = 77
	return o.change(act, *c)
}

func (o *fakeOffice) AlterConveyor(_ context.Context, _ assets.Scope, act Act, c *assets.Conveyor, from assets.Instant) error {
	o.from = append(o.from, from)
	return o.change(act, *c)
}

func (o *fakeOffice) RetireConveyor(_ context.Context, _ assets.Scope, act Act, _, id, _ int64, when assets.When) error {
	return o.change(act, id, when)
}

func (o *fakeOffice) FitBelt(_ context.Context, _ assets.Scope, act Act, b *assets.Belt, why string) error {
	return o.change(act, *b, why)
}

func (o *fakeOffice) AlterBelt(_ context.Context, _ assets.Scope, act Act, b *assets.Belt, from assets.Instant) error {
	o.from = append(o.from, from)
	return o.change(act, *b)
}

func (o *fakeOffice) RemoveBelt(_ context.Context, _ assets.Scope, act Act, _, id, _ int64, when assets.When, why string) error {
	return o.change(act, id, when, why)
}

func (o *fakeOffice) MakeSplice(_ context.Context, _ assets.Scope, act Act, s *assets.Splice) error {
	s.ID = 88
	return o.change(act, *s)
}

func (o *fakeOffice) RetireSplice(_ context.Context, _ assets.Scope, act Act, _, id, _ int64, end SpliceEnd) error {
	return o.change(act, id, end)
}

func (o *fakeOffice) CorrectSplice(_ context.Context, _ assets.Scope, act Act, s *assets.Splice) error {
	return o.change(act, *s)
}

func (o *fakeOffice) AddFinding(_ context.Context, _ assets.Scope, act Act, f *assets.Finding) (bool, error) {
	for _, k := range o.kept {
		if before, ok := k.(assets.Finding); ok && before.ClientID == f.ClientID && f.ClientID != "" {
			return true, nil
		}
	}
	return false, o.change(act, *f)
}

func (o *fakeOffice) CorrectFinding(_ context.Context, _ assets.Scope, act Act, f *assets.Finding) error {
	return o.change(act, *f)
}

func (o *fakeOffice) RefuseFollowUp(_ context.Context, _ assets.Scope, act Act, _, id, _ int64, why string) error {
	return o.change(act, id, why)
}

func (o *fakeOffice) SaveLine(_ context.Context, _ assets.Scope, act Act, l *assets.Line, from assets.Instant) error {
	o.from = append(o.from, from)
	return o.change(act, *l)
}

func (o *fakeOffice) EndLine(_ context.Context, _ assets.Scope, act Act, _, id, _ int64) error {
	return o.change(act, id)
}

func (o *fakeOffice) PlantMeters(context.Context, assets.Scope, int64) (map[int64]assets.Reading, map[int64][]assets.Meter, error) {
	return o.last, o.meters, nil
}

func (o *fakeOffice) MetersOf(_ context.Context, _ assets.Scope, id int64) ([]assets.Meter, error) {
	return o.meters[id], nil
}

func (o *fakeOffice) LastReadings(_ context.Context, _ assets.Scope, id int64, _ int) ([]assets.Reading, error) {
	if rd, ok := o.last[id]; ok {
		return []assets.Reading{rd}, nil
	}
	return nil, nil
}

func (o *fakeOffice) ReadingsBetween(_ context.Context, _ assets.Scope, id int64, from, to assets.Instant) ([]assets.Reading, error) {
	if rd, ok := o.last[id]; ok && rd.At >= from && rd.At < to {
		return []assets.Reading{rd}, nil
	}
	return nil, nil
}

func (o *fakeOffice) WaitingReadings(context.Context, assets.Scope, int64) ([]assets.HeldReading, error) {
	return o.waiting, nil
}

func (o *fakeOffice) HeldOf(context.Context, assets.Scope, int64) ([]assets.HeldReading, error) {
	decided := o.waiting[0]
	decided.ID, decided.Decision, decided.DecidedFor, decided.DecidedBy, decided.DecidedAt = 4, readingLeftOut, "two digits swapped", 1, on(2026, 3, 1).At
	return []assets.HeldReading{o.waiting[0], decided}, nil
}

func (o *fakeOffice) LeftOutBy(context.Context, assets.Scope, int64) ([]assets.Reading, error) {
	return o.leaves, nil
}

func (o *fakeOffice) DecidedReadings(_ context.Context, _ assets.Scope, _ int64, offset, limit int) ([]assets.HeldReading, int, error) {
	var all []assets.HeldReading
	for i := range 203 {
		h := o.waiting[0]
		h.ID, h.ShownH, h.Decision, h.DecidedFor, h.DecidedBy, h.DecidedAt = int64(100+i), float64(i), readingLeftOut, "two digits swapped", 2, on(2026, 3, 1).At
		all = append(all, h)
	}
	return all[min(offset, len(all)):min(offset+limit, len(all))], len(all), nil
}

func (o *fakeOffice) HeldReading(_ context.Context, _ assets.Scope, id int64) (assets.HeldReading, error) {
	return found(o.waiting[0], id == o.waiting[0].ID)
}

func (o *fakeOffice) NamesOf(context.Context, []int64) (map[int64]string, error) {
	return map[int64]string{1: "I. Vanterel", 2: "R. Asquenne"}, nil
}

func (o *fakeOffice) EnterReadings(_ context.Context, _ assets.Scope, act Act, _ int64, rs []ReadingEntered) ([]ReadingOutcome, error) {
	out := make([]ReadingOutcome, len(rs))
	for i, rd := range rs {
		if rd.ShownH < o.last[rd.ConveyorID].ShownH {
			out[i] = ReadingOutcome{Class: clock.Backwards, HeldID: int64(90 + i)}
		}
	}
	return out, o.change(act, rs)
}

func (o *fakeOffice) DecideReading(_ context.Context, _ assets.Scope, act Act, _, id int64, d ReadingDecision) error {
	return o.change(act, id, d)
}

func (o *fakeOffice) CorrectReading(_ context.Context, _ assets.Scope, act Act, _, id int64, at assets.Instant, shown *float64) error {
	return o.change(act, id, at, shown)
}

func (o *fakeOffice) DeclareStretch(_ context.Context, _ assets.Scope, act Act, m *assets.Meter) error {
	return o.change(act, *m)
}

func (o *fakeOffice) CorrectStretch(_ context.Context, _ assets.Scope, act Act, m *assets.Meter) error {
	return o.change(act, *m)
}

func (o *fakeOffice) CancelStretch(_ context.Context, _ assets.Scope, act Act, _, id, _ int64) error {
	return o.change(act, id)
}

// refused sends a form and returns the names of the fields that came back marked.
func (v *visit) refused(path string, form url.Values, fields ...string) {
	v.t.Helper()
	d := v.post(path, form, http.StatusUnprocessableEntity)
	for _, name := range fields {
		if d.Find(fmt.Sprintf(`.note.bad a[href="#f-%s"]`, name)).Length() != 1 {
			v.t.Errorf("%s: the summary does not name %s: %s", path, name, text(d, ".note.bad"))
		}
		if d.Find(fmt.Sprintf(`#f-%s`, name)).Length() != 1 {
			v.t.Errorf("%s: no field %s", path, name)
		}
	}
	for name, values := range form {
		in := d.Find(fmt.Sprintf(`[name="%s"]`, name))
		if in.Length() == 1 && in.Is("input:not([type=checkbox])") && in.AttrOr("value", "") != values[0] {
			v.t.Errorf("%s: %s came back as %q, typed %q", path, name, in.AttrOr("value", ""), values[0])
		}
	}
}

// taken sends a form that is right and returns where it leads.
func (v *visit) taken(path string, form url.Values) string {
	v.t.Helper()
	return v.send(path, form, http.StatusSeeOther).Header().Get("Location")
}

// one returns the first thing the last change kept.
func one[T any](t *testing.T, o *fakeOffice) T {
	t.Helper()
	if len(o.kept) == 0 {
		t.Fatal("nothing was kept")
	}
	x, ok := o.kept[0].(T)
	if !ok {
		t.Fatalf("kept a %T", o.kept[0])
	}
	return x
}
