package reports_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/people"
)

// The small plant's journal: S3 failed on 3 July 2025 at 09:00 in Berlin, entered the next morning; on the 10th the tag of
// Q3 was corrected; a list of 40 rows was brought in on the 11th.
func (s *smallPlant) AuditPlant(_ context.Context, _ int64, in reports.Span) (reports.Audited, error) {
	reg := s.plant.Register
	a := reports.Audited{Chains: s.plant.Chains}
	for _, c := range reg.Conveyors {
		a.Conveyors = append(a.Conveyors, reports.AuditedConveyor{Tag: c.Tag, Line: reg.LineName(c)})
	}
	q3, _ := reg.Conveyor(10)
	if at := local("2025-07-03T09:00"); in.Holds(at) {
		a.Events = append(a.Events, reports.AuditEvent{Part: reports.EndedEvent(assets.RetiredFailed), At: at, Conveyor: q3.Tag, Splice: "3", What: "failed", Thing: "splice 33",
			Reason: "edge torn", Evidence: &reports.Evidence{Findings: 2, Attachments: 1, Readings: 3}})
	}
	return a, nil
}

func (s *smallPlant) AuditEntries(_ context.Context, of reports.JournalOf, in reports.Span, yield func(reports.AuditEntry) error) error {
	if of.PlantID == 0 {
		return nil
	}
	q3, _ := s.plant.Register.Conveyor(10)
	for _, e := range []reports.AuditEntry{
		{Chain: 2, Entry: 1842, At: local("2025-07-11T08:00"), Who: "S. Ilveth", Origin: "import", Deed: "bring in a list", Hash: strings.Repeat("5e", 32), Counted: 40},
		{Chain: 2, Entry: 1841, At: local("2025-07-10T08:00"), Who: "I. Vanterel", Origin: "screen", Deed: "correct a conveyor", Reason: "=misread", Hash: strings.Repeat("4d", 32),
			Rows: []reports.AuditRow{{Conveyor: q3.Tag, Thing: "conveyors 10", Before: "tag Q8", After: "tag Q3", Corrects: true}}},
		{Chain: 2, Entry: 1840, At: local("2025-07-04T07:00"), Who: "I. Vanterel", Origin: "screen", Deed: "record a failed splice", Hash: strings.Repeat("3c", 32),
			Rows: []reports.AuditRow{{Conveyor: q3.Tag, Splice: "3", Thing: "splices 33", After: "retired_why failed"}}},
	} {
		if !in.Holds(e.At) {
			continue
		}
		if err := yield(e); err != nil {
			return err
		}
	}
	return nil
}

func (s *smallPlant) AuditPlace(_ context.Context, customerID int64, at time.Time) (reports.ChainRead, error) {
	if customerID == 0 || !at.IsZero() && at.Before(local("2025-07-04T07:00")) {
		return reports.ChainRead{}, nil
	}
	return s.plant.Chains[0], nil
}

func (s *smallPlant) Everywhere() bool { return true }

// auditOf is the extract of a period as records of CSV, by the headings of their columns.
func auditOf(t *testing.T, p reports.Period, filter string) []map[string]string {
	t.Helper()
	s := newSmallPlant()
	s.name.CustomerID = 7
	in := reports.Inputs{Source: s, Built: built, By: "N. Corvane, auditor", Version: "1.0", Zone: berlin, Period: p, Filter: must(reports.ParseFilter(filter))}
	r := must(must(reports.Find("audit")).Build(t.Context(), in, ""))
	var b bytes.Buffer
	must(r.WriteCSV(t.Context(), &b))
	records := must(csv.NewReader(&b).ReadAll())
	var out []map[string]string
	for _, rec := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = rec[i]
		}
		out = append(out, row)
	}
	return out
}

func parts(rows []map[string]string) map[string]int {
	n := map[string]int{}
	for _, r := range rows {
		n[r["Part"]]++
	}
	return n
}

func TestAnExtractHoldsWhatLiesInItsPeriod(t *testing.T) {
	for name, tt := range map[string]struct {
		period reports.Period
		filter string
		want   map[string]int
	}{
		"since ever":                            {reports.Period{}, "", map[string]int{"checkpoint": 4, "splice failed": 1, "correction": 1, "journal entry": 2}},
		"the day of the failure alone":          {reports.Period{From: "2025-07-03", To: "2025-07-03"}, "", map[string]int{"checkpoint": 6, "splice failed": 1}},
		"from the day after":                    {reports.Period{From: "2025-07-04"}, "", map[string]int{"checkpoint": 6, "correction": 1, "journal entry": 2}},
		"to the day of the correction":          {reports.Period{To: "2025-07-10"}, "", map[string]int{"checkpoint": 4, "splice failed": 1, "correction": 1, "journal entry": 1}},
		"one conveyor: no list of many":         {reports.Period{}, "conveyor=q3", map[string]int{"checkpoint": 2, "splice failed": 1, "correction": 1, "journal entry": 1}},
		"a conveyor that nobody had to do with": {reports.Period{}, "conveyor=B10", map[string]int{"checkpoint": 2}},
	} {
		if got := parts(auditOf(t, tt.period, tt.filter)); !maps.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", name, got, tt.want)
		}
	}
}

func TestAnExtractTellsBeforeAfterAndWhy(t *testing.T) {
	rows := auditOf(t, reports.Period{}, "")
	at := slices.IndexFunc(rows, func(r map[string]string) bool { return r["Part"] == "correction" })
	want := map[string]string{"Who": "I. Vanterel", "From where": "screen", "When": "2025-07-10T08:00:00+02:00", "What": "correct a conveyor", "Before": "tag Q8", "After": "tag Q3", "Reason": "'=misread",
		"Chain": "2", "Entry": "1841", "Hash": strings.Repeat("4d", 32), "Conveyor": "Q3"}
	for column, says := range want {
		if rows[at][column] != says {
			t.Errorf("%s reads %q, want %q", column, rows[at][column], says)
		}
	}
	at = slices.IndexFunc(rows, func(r map[string]string) bool { return r["After"] == "40 rows at once" })
	if at < 0 || rows[at]["What"] != "bring in a list" {
		t.Error("the list brought in is not counted")
	}
}

func TestPeriodsThatCannotBeAreRefused(t *testing.T) {
	for name, tt := range map[string]struct {
		report string
		period reports.Period
		field  string
	}{
		"ends before it begins":       {"audit", reports.Period{From: "2025-07-04", To: "2025-07-03"}, "to"},
		"begins tomorrow":             {"audit", reports.Period{From: "2026-11-27"}, "from"},
		"ends tomorrow":               {"audit", reports.Period{To: "2026-11-27"}, "to"},
		"no day":                      {"audit", reports.Period{From: "July"}, "from"},
		"of a report of a single day": {"splice-age", reports.Period{From: "2025-07-03"}, "from"},
	} {
		_, err := must(reports.Find(tt.report)).Build(t.Context(), reports.Inputs{Source: newSmallPlant(), Built: built, Zone: berlin, Period: tt.period}, "")
		var bad assets.Invalid
		if !errors.As(err, &bad) || bad[tt.field] == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestNoReportIsOfAFutureDay asks for tomorrow, and for the day that has begun in the plant's zone but not in UTC.
func TestNoReportIsOfAFutureDay(t *testing.T) {
	late := time.Date(2026, 11, 25, 23, 30, 0, 0, time.UTC) // 00:30 on the 26th in Berlin
	build := func(asOf assets.Day, known string) error {
		in := reports.Inputs{Source: newSmallPlant(), Built: late, Zone: berlin}
		var err error
		if in.Known, err = reports.NewKnownAt(known, berlin); err != nil {
			return err
		}
		_, err = must(reports.Find("splice-age")).Build(t.Context(), in, asOf)
		return err
	}
	for name, tt := range map[string]struct {
		asOf  assets.Day
		known string
		field string // refused
	}{
		"today at the plant, tomorrow in UTC": {"2026-11-26", "2026-11-26", ""},
		"as of tomorrow":                      {"2026-11-27", "", "as-of"},
		"as of an instant to come":            {"2026-11-25T23:31:00Z", "", "as-of"},
		"as known tomorrow":                   {"", "2026-11-27", "known-at"},
		"as known at an instant to come":      {"", "2026-11-25T23:31:00Z", "known-at"},
		"as of and as known now":              {"2026-11-25T23:30:00Z", "2026-11-25T23:30:00Z", ""},
	} {
		err := build(tt.asOf, tt.known)
		var bad assets.Invalid
		if errors.As(err, &bad); (tt.field == "") != (err == nil) || tt.field != "" && !strings.Contains(bad[tt.field], "has not come yet") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestTheExtractIsForWhoMayReadTheJournal(t *testing.T) {
	if must(reports.Find("audit")).Deed() != people.ReadJournal || must(reports.Find("splice-age")).Deed() != people.Read {
		t.Error("the deeds of the reports are others")
	}
}
