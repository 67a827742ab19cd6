package web

import (
	"net/http"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/schedule/due"
)

func TestListOfBelts(t *testing.T) {
	d := as(t, skarrow(), assets.RolePlanner).get("/plants/3/belts")
	if got := plainly(text(d, "h1")); got != "6 conveyors, 1.3 km of belt, 7 splices; one splice is past its best age or rule" {
		t.Errorf("headline %q", got)
	}
	if got := d.Find("tr.line").Length(); got != 3 {
		t.Errorf("%d lines", got)
	}
	if got := d.Find("table svg.row").Length(); got != 6 {
		t.Errorf("%d belts drawn", got)
	}
	row := plainly(strings.Join(strings.Fields(d.Find(`tr:contains("Q3")`).Last().Text()), " "))
	for _, want := range []string{"118 m", "1 400 mm, EP 1000/4 6+3", "hot vulcanised, stepped", "S2 106 %", "19 Sep 2026", "S2 by passes, class C", "412: remake splice 2"} {
		if !strings.Contains(row, want) {
			t.Errorf("row of Q3 lacks %q: %s", want, row)
		}
	}
}

func TestBeltsAreFilteredAndSortedByTheAddress(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	tests := []struct {
		query string
		tags  string
	}{
		{"?line=1", "Q1 Q2 Q3"},
		{"?q=q-03", "Q3"},
		{"?q=tower", "Q3"},
		{"?q=EP+1000", "Q1 Q2 Q3 R2 G3"},
		{"?form=finger", ""},
		{"?by=due", "Q3 Q2 Q1 R2 D9 G3"},
		{"?page=99", "Q1 Q2 Q3 R2 D9 G3"},
	}
	for _, tt := range tests {
		var tags []string
		d := v.get("/plants/3/belts" + tt.query)
		for _, n := range d.Find("tbody a.tag").EachIter() {
			tags = append(tags, n.Text())
		}
		if got := strings.Join(tags, " "); got != tt.tags {
			t.Errorf("%s: %s, want %s", tt.query, got, tt.tags)
		}
		if tt.tags == "" && d.Find(".empty a").Length() != 1 {
			t.Error("a filter that finds nothing cannot be cleared")
		}
	}
	if got := v.get("/plants/3/belts?q=tower").Find(`#f-q`).AttrOr("value", ""); got != "tower" {
		t.Errorf("the filter shows %q", got)
	}
}

func TestLongListsHavePages(t *testing.T) {
	f := skarrow()
	for i := range 250 {
		f.conveyor(int64(100+i), 1, "K"+Int(int64(i)), "", 10, 0, 22)
	}
	f.fleet.Register.Arrange()
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/belts?by=due")
	if got := d.Find("tbody tr").Length(); got != rowsAPage {
		t.Errorf("%d rows on a page", got)
	}
	if next := d.Find(".pager a[rel=next]").AttrOr("href", ""); !strings.Contains(next, "page=2") || !strings.Contains(next, "by=due") {
		t.Errorf("next page is %q", next)
	}
	if got := v.get("/plants/3/belts?page=3").Find(".pager a[rel=next]").Length(); got != 0 {
		t.Error("the last page leads on")
	}
}

func TestConveyorPage(t *testing.T) {
	d := as(t, skarrow(), assets.RolePlanner).get("/plants/3/conveyors/3")
	if got := plainly(text(d, "h1")); got != "Q3: splice 2 is past its rule, at 106 %; splice 3 comes due on 5 Apr 2027" {
		t.Errorf("headline %q", got)
	}
	if got := d.Find("tr.now a.tag").Text(); got != "S2" {
		t.Errorf("marked row %q", got)
	}
	for _, want := range []string{"Two re-splices left in the take-up", "37.29 passes an hour", "failed, edge torn", "hour meter replaced", "order 412", "3, act by the date given", "once round in 96.5 s", "118 m centres, rise 27.3 m"} {
		if !strings.Contains(plainly(d.Find("main").Text()), want) {
			t.Errorf("%q is missing", want)
		}
	}
	if got := d.Find("details table").Length(); got < 2 {
		t.Error("the drawings have no tables")
	}
}

func TestConveyorThatIsNotThere(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	for _, path := range []string{"/plants/3/conveyors/999", "/plants/3/conveyors/x", "/plants/3/conveyors/-1"} {
		v.page(path, http.StatusNotFound)
	}
}

func TestHeadlineOfAConveyor(t *testing.T) {
	tests := []struct {
		name   string
		id     int64
		change func(*fakePlant)
		want   string
	}{
		{"no belt", 5, nil, "D9 has no belt on it"},
		{"belt without splices", 6, nil, "G3 has a belt since 14 Sep 2023 and no splice in the records"},
		{"only ages not known", 4, nil, "R2: the age of splice 2 is not known, so nothing can be said of when"},
		{"one past", 3, nil, "Q3: splice 2 is past its rule, at 106 %; splice 3 comes due on 5 Apr 2027"},
		{"one coming", 2, nil, "Q2: splice 1 comes due first, on 7 Jan 2027, at 93 % of its rule now"},
		{"two past", 3, func(f *fakePlant) { f.fleet.Standings[5].Band = due.BandPastRule }, "Q3: splices 2 and 3 are past their best age or rule, splice 2 furthest at 106 %"},
		{"no rule", 2, func(f *fakePlant) {
			st := &f.fleet.Standings[2]
			st.Used, st.DueDay, st.Band = due.Figure{}, "", due.BandNoLimit
		}, "Q2: nothing that binds sets a date for its splices"},
		{"a rule of thumb alone", 2, func(f *fakePlant) {
			st := &f.fleet.Standings[2]
			st.Used, st.DueDay, st.Band, st.Hint = due.Figure{}, "", due.BandNoLimit, &due.Hint{Day: "2028-11-06"}
		}, "Q2: nothing that binds sets a date for its splices; a rule of thumb names 6 Nov 2028"},
		{"retired", 2, func(f *fakePlant) {
			f.fleet.Register.Conveyors[1].Status, f.fleet.Register.Conveyors[1].Retired = assets.ConveyorRetired, on(2026, 1, 5)
		}, "Q2 is retired since 5 Jan 2026"},
	}
	for _, tt := range tests {
		f := skarrow()
		if tt.change != nil {
			tt.change(f)
		}
		v := viewOf(f.fleet, Format{Now: morning})
		c, _ := v.Register.Conveyor(tt.id)
		if got := plainly(v.conveyorSay(c)); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestHeadlineOfBelts(t *testing.T) {
	f := skarrow()
	for i := range f.fleet.Standings {
		f.fleet.Standings[i].Band, f.fleet.Standings[i].Age.Known = due.BandUnder50, true
	}
	if got := plainly(viewOf(f.fleet, Format{}).beltsSay()); !strings.HasSuffix(got, "; none is past its best age or rule") {
		t.Errorf("none past: %q", got)
	}
	for i := range f.fleet.Standings {
		f.fleet.Standings[i].Band = due.BandPastRule
	}
	if got := plainly(viewOf(f.fleet, Format{}).beltsSay()); !strings.HasSuffix(got, "; seven splices are past their best age or rule") {
		t.Errorf("all past: %q", got)
	}
	f.fleet = &Fleet{Register: &assets.Register{}}
	if got := viewOf(f.fleet, Format{}).beltsSay(); !strings.HasPrefix(got, "No belts yet") {
		t.Errorf("none: %q", got)
	}
}
