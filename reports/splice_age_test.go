package reports_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/google/go-cmp/cmp"

	"carryside/assets"
	"carryside/reports"
)

// column returns the cells of one column by splice.
func column(t *testing.T, r *reports.Report, key string) map[string]string {
	t.Helper()
	at := map[string]int{}
	for i, c := range r.Columns {
		at[c.Key] = i
	}
	out := map[string]string{}
	for row, err := range r.Rows(context.Background()) {
		if err != nil {
			t.Fatal(err)
		}
		out[row[at["conveyor"]].Plain()+" "+row[at["splice"]].Plain()] = row[at[key]].Plain()
	}
	return out
}

// The figures are worked out at smallPlant.
func TestAgesWorkedByHand(t *testing.T) {
	for key, want := range map[string]map[string]string{
		"age_days":          {"Q3 S1": "655", "Q3 S2": "365", "Q3 S3": "1217", "B10 =1": ""},
		"age_at_least_days": {"Q3 S1": "655", "Q3 S2": "365", "Q3 S3": "1126", "B10 =1": ""},
		"age_hours":         {"Q3 S1": "5837.5", "Q3 S2": "3253", "Q3 S3": "5837.5", "B10 =1": ""},
		"age_passes":        {"Q3 S1": "210150", "Q3 S2": "117106", "Q3 S3": "210150", "B10 =1": ""},
		"counted":           {"Q3 S1": "whole life", "Q3 S2": "whole life", "Q3 S3": "at least", "B10 =1": ""},
		"made_on":           {"Q3 S1": "2023-09-14", "Q3 S2": "2024-07-01", "Q3 S3": "spring 2022", "B10 =1": "?"},
		"life_used_percent": {"Q3 S1": "57", "Q3 S2": "32", "Q3 S3": "57", "B10 =1": ""},
		"status":            {"Q3 S1": "50 to 80 %", "Q3 S2": "under 50 %", "Q3 S3": "50 to 80 %", "B10 =1": "age not known"},
	} {
		if diff := cmp.Diff(want, column(t, smallReport("2025-06-30", ""), key)); diff != "" {
			t.Errorf("%s: -want +got\n%s", key, diff)
		}
	}
}

func TestRowsStandAsOneWalks(t *testing.T) {
	var got []string
	r := smallReport("", "")
	for row, err := range r.Rows(context.Background()) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, row[3].Plain()+" "+row[4].Plain())
	}
	if diff := cmp.Diff([]string{"Q3 S1", "Q3 S2", "Q3 S3", "Q3 S9", "B10 =1"}, got); diff != "" {
		t.Error(diff)
	}
}

func TestAsOfIsTheEndOfItsDayOrTheMomentOfBuilding(t *testing.T) {
	for day, want := range map[assets.Day]string{"": "2026-11-25T11:00:00Z", "2025-06-30": "2025-06-30T22:00:00Z", "2026-11-25": "2026-11-25T11:00:00Z"} {
		if got := smallReport(day, "").AsOf.Now(berlin).Format("2006-01-02T15:04:05Z07:00"); got != want {
			t.Errorf("as of %q looks at %s, want %s", day, got, want)
		}
	}
	entry := must(reports.Find("splice-age"))
	if _, err := entry.Build(context.Background(), reports.Inputs{Source: newSmallPlant(), Built: built}, "30.06.2025"); err == nil || !strings.Contains(err.Error(), "YYYY-MM-DD") {
		t.Errorf("a day that is none was taken: %v", err)
	}
}

// Later dates never make a splice younger, and one that is unknown stays without an age.
func TestLaterAsOfNeverLowersAnAge(t *testing.T) {
	before := map[string]float64{}
	for _, day := range []assets.Day{"2024-09-01", "2025-03-29", "2025-03-30", "2025-03-31", "2025-10-25", "2025-10-26", "2025-10-27", "2026-11-24", ""} {
		r := smallReport(day, "")
		for row, err := range r.Rows(context.Background()) {
			if err != nil {
				t.Fatal(err)
			}
			for i, c := range r.Columns {
				if !strings.HasPrefix(c.Key, "age_") {
					continue
				}
				v, ok := row[i].Figure()
				name := row[4].Plain() + " " + c.Key
				if row[4].Plain() == "=1" && ok {
					t.Errorf("as of %s the splice without a date has %s %v", day, c.Key, v)
				}
				if v < before[name] {
					t.Errorf("as of %s %s fell from %v to %v", day, name, before[name], v)
				}
				before[name] = v
			}
		}
	}
	if len(before) < 12 {
		t.Fatalf("only %d ages compared", len(before))
	}
}

func TestScope(t *testing.T) {
	for scope, want := range map[string]int{
		"": 5, "plant=skarrow grain terminal": 5, "line=Ship  intake": 4, "conveyor=q-3": 4, "line==Bagging": 1, "customer=Skarrow Holdings,conveyor=b10": 1,
	} {
		n := 0
		for _, err := range smallReport("", scope).Rows(context.Background()) {
			if err != nil {
				t.Fatalf("%s: %v", scope, err)
			}
			n++
		}
		if n != want {
			t.Errorf("scope %q has %d splices, want %d", scope, n, want)
		}
	}
	entry := must(reports.Find("splice-age"))
	in := reports.Inputs{Source: newSmallPlant(), Built: built, Filter: reports.Filter{Plant: "Nowhere"}}
	if _, err := entry.Build(context.Background(), in, ""); err == nil || !strings.Contains(err.Error(), "plant Nowhere") {
		t.Errorf("a plant that is not there: %v", err)
	}
	for _, err := range smallReport("", "conveyor=Z9").Rows(context.Background()) {
		if err == nil || !strings.Contains(err.Error(), "conveyor Z9") {
			t.Errorf("a conveyor that is not there: %v", err)
		}
	}
}

func TestScopeRefused(t *testing.T) {
	for in, want := range map[string]string{
		"everything": "names nothing", "shift=early": `no part "shift"`, "plant=": "names no plant", "plant=A,plant=B": "plant twice",
	} {
		if _, err := reports.ParseFilter(in); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "customer=NAME") {
			t.Errorf("%q: %v, want %q and how to write it", in, err, want)
		}
	}
	if f := must(reports.ParseFilter("plant=Mill, north,line=2")); f.Plant != "Mill, north" || f.Line != "2" {
		t.Errorf("a comma in a name: %+v", f)
	}
}

// plainRows is what every form must hold.
func plainRows(t *testing.T, r *reports.Report) (rows [][]string, shown [][]string) {
	t.Helper()
	for row, err := range r.Rows(context.Background()) {
		if err != nil {
			t.Fatal(err)
		}
		var p, s []string
		for _, c := range row {
			p, s = append(p, c.Plain()), append(s, c.Shown())
		}
		rows, shown = append(rows, p), append(shown, s)
	}
	return rows, shown
}

func TestCSVHoldsTheSameCells(t *testing.T) {
	var b bytes.Buffer
	r := smallReport("2025-06-30", "")
	want, _ := plainRows(t, r)
	must(r.WriteCSV(context.Background(), &b))
	got := must(csv.NewReader(&b).ReadAll())
	if got[0][8] != "Age, days" {
		t.Errorf("heading %q has no unit", got[0][8])
	}
	for i, row := range got[1:] {
		for j, c := range row {
			if risky := want[i][j] != "" && strings.ContainsAny(want[i][j][:1], "=@"); risky {
				if c != "'"+want[i][j] {
					t.Errorf("%q is not inert", c)
				}
			} else if c != want[i][j] {
				t.Errorf("row %d %s: %q, want %q", i, got[0][j], c, want[i][j])
			}
		}
	}
	if len(got) != len(want)+1 || !strings.Contains(b.String()+strings.Join(got[4], ","), "'=Bagging") {
		t.Errorf("%d lines; the line called =Bagging must come with an apostrophe: %v", len(got), got[4])
	}
}

func TestPageHoldsTheSameCells(t *testing.T) {
	var b bytes.Buffer
	r := smallReport("2025-06-30", "")
	_, want := plainRows(t, r)
	proof := must(r.WritePage(context.Background(), &b))
	doc := must(goquery.NewDocumentFromReader(&b))
	var got [][]string
	doc.Find("tbody tr").Each(func(_ int, tr *goquery.Selection) {
		got = append(got, tr.Find("td").Map(func(_ int, td *goquery.Selection) string { return td.Text() }))
	})
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if !strings.Contains(doc.Text(), proof.Digest) || doc.Find("th[scope=col]").Length() != len(r.Columns) {
		t.Error("the page lacks its digest or a heading")
	}
}

func TestJSONHoldsTheSameCellsAndItsDigestCanBeChecked(t *testing.T) {
	var b bytes.Buffer
	r := smallReport("2025-06-30", "")
	want, _ := plainRows(t, r)
	proof := must(r.WriteJSON(context.Background(), &b))
	var got struct {
		Columns []struct{ Key string }
		Rows    []map[string]any
		Count   int
		Tally   []reports.Count
		Digest  string
	}
	d := json.NewDecoder(bytes.NewReader(b.Bytes()))
	d.UseNumber()
	if err := d.Decode(&got); err != nil {
		t.Fatal(err)
	}
	for i, row := range got.Rows {
		for j, c := range r.Columns {
			text := ""
			switch v := row[c.Key].(type) {
			case json.Number:
				text = v.String()
			case string:
				text = v
			}
			if text != want[i][j] {
				t.Errorf("row %d %s: %q, want %q", i, c.Key, text, want[i][j])
			}
		}
	}
	if got.Count != len(want) || got.Digest != proof.Digest {
		t.Errorf("%d rows, digest %s; want %d, %s", got.Count, got.Digest, len(want), proof.Digest)
	}
	wantTally := []reports.Count{{Says: "past best age or rule"}, {Says: "80 to 100 %"}, {Says: "50 to 80 %", Rows: 2}, {Says: "under 50 %", Rows: 1}, {Says: "age not known", Rows: 1}, {Says: "no limit set"}}
	if diff := cmp.Diff(wantTally, got.Tally); diff != "" {
		t.Errorf("rows by status: -want +got\n%s", diff)
	}
	var keys []string
	for _, c := range got.Columns {
		keys = append(keys, c.Key)
	}
	if sum := digestByHand(t, keys, got.Rows); sum != proof.Digest {
		t.Errorf("digest recomputed with the standard library %s, want %s", sum, proof.Digest)
	}
}

func TestAsOfMayBeAnInstant(t *testing.T) {
	built := time.Date(2026, 11, 25, 6, 0, 0, 0, time.UTC)
	a, err := reports.NewAsOf("2026-06-30T22:00:00+02:00", built)
	if want := time.Date(2026, 6, 30, 20, 0, 0, 0, time.UTC); err != nil || !a.Now(time.UTC).Equal(want) || a.Day != "2026-06-30" {
		t.Errorf("as of %v on %s (%v), want %v in every zone", a.Now(time.UTC), a.Day, err, want)
	}
	if a, err = reports.NewAsOf("2027-06-30T22:00:00Z", built); err != nil || !a.Now(time.UTC).Equal(built) {
		t.Errorf("an instant to come: %v (%v), want the moment of building", a.Now(time.UTC), err)
	}
}
