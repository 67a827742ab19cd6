package web

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// This file turns forecasts into what screens show of them: a taper, its numbers, its causes and the recommended date.

// duePart is when the splices of a conveyor, or one splice, come due.
type duePart struct {
	Head    string
	Drawing template.HTML
	Rows    []dueRow
	Says    []dueSay // of each splice that has something to say
	Note    string
}

// dueRow is one splice in numbers.
type dueRow struct {
	Name, To       string
	P10, P50, P90  string
	Before         string // chance before the next stop
	Causes         string
	Best           string
	Advised        string
	Reason         string
	RestsOn, Class string
}

// dueSay is the finding on one splice in words.
type dueSay struct{ Bold, Rest string }

// duePart makes the part of some splices of a conveyor; nil where nothing can be said.
func (v fleetView) duePart(c assets.Conveyor, splices []assets.Splice, windows []assets.StopWindow, plantID int64, links bool) *duePart {
	stop, stops := nextStop(windows, c, v.f.Now)
	until := v.sheetEnd(splices)
	t := drawing.Tapers{Now: v.f.Now, From: v.f.Now, Until: until, Zone: v.f.zone()}
	for _, w := range stops {
		t.Stops = append(t.Stops, drawing.StopBox{From: w.Start.Time(), To: w.End.Time(), Words: v.stopWords(w)})
	}
	p := &duePart{Head: "When they come due"}
	drawn := false
	for _, s := range splices {
		f := v.forecast(s.ID)
		if f == nil {
			continue
		}
		row := v.dueRow(s, f, stop)
		drow := drawing.TaperRow{Name: "S" + s.Number, Under: row.Class, Taper: taperOf(f), Says: v.taperSays(f, stop)}
		if links {
			row.To, drow.To = at(plantID, "splices", s.ID), at(plantID, "splices", s.ID)
		}
		drawn = drawn || !f.Band.At10.IsZero() || !f.Band.At50.IsZero()
		t.Rows, p.Rows, p.Says = append(t.Rows, drow), append(p.Rows, row), append(p.Says, v.dueSay(s, f, stop))
	}
	if len(p.Rows) == 0 {
		return nil
	}
	if len(p.Rows) == 1 {
		p.Head = "When it comes due"
	}
	t.Sentence = "Chance of coming due over time: " + p.Rows[0].Name + " " + v.taperSays(v.forecast(splices[0].ID), stop)
	if drawn {
		p.Drawing = drawing.OfTapers(t)
	}
	p.Note = "Coming due is failing, or passing a limit that binds. Causes are taken as independent; the chance of failing is averaged over what the lives leave open. Dotted up to 10 %, line at 50 %, bar at 90 %; the pointer is the recommended date."
	return p
}

// sheetEnd is how far the axis of tapers reaches: to the latest 90 % date within three years, half a year at least.
func (v fleetView) sheetEnd(splices []assets.Splice) time.Time {
	least, most := v.f.Now.AddDate(0, 6, 0), v.f.Now.AddDate(3, 0, 0)
	end := least
	for _, s := range splices {
		f := v.forecast(s.ID)
		if f == nil {
			continue
		}
		for _, at := range []time.Time{f.Band.At10, f.Band.At50, f.Band.At90, f.Advice.At} {
			if at.After(end) {
				end = at
			}
		}
	}
	if end = end.AddDate(0, 1, 0); end.After(most) {
		return most
	}
	return end
}

// nextStop returns the first stop of a conveyor's line to come, and those of the next year for the drawing.
func nextStop(windows []assets.StopWindow, c assets.Conveyor, now time.Time) (first *assets.StopWindow, some []assets.StopWindow) {
	for i, w := range windows {
		if !w.Stops(c) || !w.Start.Time().After(now) {
			continue
		}
		if first == nil {
			first = &windows[i]
		}
		if len(some) < 3 {
			some = append(some, w)
		}
	}
	return first, some
}

func (v fleetView) stopWords(w assets.StopWindow) string {
	return v.f.Local(w.Start).Format("2\u00a0Jan") + "/" + Duration(w.End.Time().Sub(w.Start.Time()).Hours())
}

// taperSays is the finding beside a taper.
func (v fleetView) taperSays(f *due.Forecast, stop *assets.StopWindow) string {
	switch {
	case f == nil:
		return "nothing is foreseen"
	case f.Band.At10.IsZero():
		return "no date: " + v.silent(f)
	case stop == nil:
		return "no stop planned"
	}
	p, _ := f.Chances(stop.Start.Time())
	return chance(p) + " before the stop"
}

// silent says why there is no due band.
func (v fleetView) silent(f *due.Forecast) string {
	switch {
	case f.NoLife != "" && len(f.Causes) == 0:
		return f.NoLife + ", and no rule or trend binds"
	case f.NoLife != "":
		return f.NoLife + "; no limit is met within 20 years"
	}
	return "under 10 % within 20 years"
}

// bandDate writes a date of the band.
func (v fleetView) bandDate(at time.Time) string {
	switch {
	case at.IsZero():
		return "beyond 20 years"
	case !at.After(v.f.Now):
		return "now"
	}
	return v.f.PlainDay(assets.DayOf(at.In(v.f.zone())))
}

func (v fleetView) dueRow(s assets.Splice, f *due.Forecast, stop *assets.StopWindow) dueRow {
	row := dueRow{Name: spliceMark(s), P10: v.bandDate(f.Band.At10), P50: v.bandDate(f.Band.At50), P90: v.bandDate(f.Band.At90), Before: "no stop planned",
		Best: Capital(f.Best.Words), Advised: "none", Reason: "nothing sets one", RestsOn: v.lawWords(f), Class: v.lawClass(f)}
	if f.Band.At10.IsZero() && f.Band.At50.IsZero() && len(f.Causes) == 0 {
		row.P10, row.P50, row.P90 = "no date", "no date", "no date"
	}
	if stop != nil {
		p, _ := f.Chances(stop.Start.Time())
		row.Before = chance(p)
	}
	row.Causes = v.causeWords(f, v.causesBy(f, stop))
	if !f.Advice.At.IsZero() {
		row.Advised, row.Reason = v.f.Day(f.Advice.Day), Capital(f.Advice.Reason)
	}
	return row
}

// causesBy is the date by which chances of causes are told: the next stop, else when half have come due, else a year.
func (v fleetView) causesBy(f *due.Forecast, stop *assets.StopWindow) time.Time {
	switch {
	case stop != nil:
		return stop.Start.Time()
	case f.Band.At50.After(v.f.Now):
		return f.Band.At50
	}
	return v.f.Now.AddDate(1, 0, 0)
}

// causeWords lists the causes by a date, the likeliest first: "by 12 Dec 2026: limit of 364 000 passes 62 %, failing 9 %".
func (v fleetView) causeWords(f *due.Forecast, by time.Time) string {
	if len(f.Causes) == 0 {
		return v.silent(f)
	}
	_, each := f.Chances(by)
	order := make([]int, len(each))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(each[b], each[a]) })
	words := "by " + v.f.PlainDay(assets.DayOf(by.In(v.f.zone()))) + ": "
	for n, i := range order {
		words += pick(n > 0, "; ", "") + f.Causes[i] + " " + chance(each[i])
	}
	return words
}

// lawWords says on how many failures the chance of failing rests.
func (v fleetView) lawWords(f *due.Forecast) string {
	if f.NoLife != "" {
		return f.NoLife
	}
	words := Figure(int(f.Failures), "failure", "failures") + " of its cohort (" + f.Key.Words() + ")"
	if f.Failures < thinFailures {
		return "too few failures: " + words
	}
	return words
}

// thinFailures is how many failures of its own a cohort needs before its figures are the plant's own history.
const thinFailures = 5

// lawClass is the class of evidence of the life figures.
func (v fleetView) lawClass(f *due.Forecast) string {
	switch {
	case f.NoLife != "":
		return "no life figures"
	case f.Class == assets.ClassC:
		return "class C"
	}
	return "class D: thin"
}

// dueSay is the sentence on one splice: the recommended date and what binds it.
func (v fleetView) dueSay(s assets.Splice, f *due.Forecast, stop *assets.StopWindow) dueSay {
	mark := spliceMark(s)
	if f.Advice.At.IsZero() && len(f.Causes) == 0 {
		return dueSay{Bold: mark + " has no date.", Rest: fullStop(Capital(v.silent(f)))}
	}
	say := dueSay{Bold: fmt.Sprintf("%s: no date is recommended.", mark)}
	if !f.Advice.At.IsZero() {
		say.Bold = fmt.Sprintf("%s: best remade by %s; the %s binds.", mark, v.f.Day(f.Advice.Day), f.Advice.By)
		say.Rest = fullStop(Capital(f.Advice.Reason)) + " "
	}
	if stop != nil && len(f.Causes) > 0 {
		say.Rest += Capital(v.beforeStop(f, stop)) + ". "
	}
	if !f.Best.Known {
		say.Rest += fullStop(Capital(f.Best.Words))
	}
	return say
}

// chance writes a chance in whole per cent; at the ends it says no more than is known.
func chance(p float64) string {
	switch {
	case p < 0.01:
		return "under 1" + nb + "%"
	case p > 0.99:
		return "over 99" + nb + "%"
	}
	return Percent(p)
}

// trendRow is a quantity measured on a splice, held against its limit.
type trendRow struct{ Quantity, Now, Limit, Class, Says string }

func (v fleetView) trendRows(of func(*due.Trend) bool) []trendRow {
	var rows []trendRow
	for i := range v.Trends {
		t := &v.Trends[i]
		if !of(t) {
			continue
		}
		units := v.Register.Plant.UnitSystem
		row := trendRow{Quantity: Capital(t.Gauge.Quantity), Now: t.Show(t.Values[len(t.Values)-1], units), Limit: "none given", Says: Capital(t.Why)}
		if t.Limit.Quantity != "" {
			row.Limit, row.Class = t.Show(t.Limit.Value, units), joinWords("class "+string(t.Limit.Class), t.Limit.Source)
		}
		if t.Crossing != nil {
			row.Says = Capital(t.Crossing.Words)
		}
		rows = append(rows, row)
	}
	return rows
}

// beforeStop is the chance of coming due before a stop with its causes: "66 % before the stop of 12 Dec 2026: limit passed
// 62 %, failed 9 %".
func (v fleetView) beforeStop(f *due.Forecast, stop *assets.StopWindow) string {
	p, each := f.Chances(stop.Start.Time())
	words := chance(p) + " before the stop of " + v.f.Date(stop.Start)
	if len(each) < 2 || p < 0.01 {
		return words
	}
	for i, c := range each {
		words += pick(i == 0, ": ", ", ") + f.Short[i] + " " + chance(c)
	}
	return words
}

// taperOf is a forecast as it is drawn.
func taperOf(f *due.Forecast) drawing.Taper {
	return drawing.Taper{At10: f.Band.At10, At50: f.Band.At50, At90: f.Band.At90, Advised: f.Advice.At}
}

// cellSpan is how far the tapers in rows of a table reach.
const cellSpan = 2

// taperCell draws a forecast in a row; "" where there is no due band.
func (v fleetView) taperCell(f *due.Forecast) template.HTML {
	if f == nil || f.Band.At10.IsZero() {
		return ""
	}
	return drawing.TaperCell(taperOf(f), v.f.Now, v.f.Now.AddDate(cellSpan, 0, 0), "10 % by "+v.bandDate(f.Band.At10)+", 50 % by "+v.bandDate(f.Band.At50)+", 90 % by "+v.bandDate(f.Band.At90))
}

// bandWords writes the three dates of a due band.
func (v fleetView) bandWords(f *due.Forecast) string {
	return v.bandDate(f.Band.At10) + " / " + v.bandDate(f.Band.At50) + " / " + v.bandDate(f.Band.At90)
}

// dueKeyOf orders splices by the date recommended; what has none by when half of such have come due; others last.
func (v fleetView) dueKeyOf(spliceID int64) time.Time {
	if st, ok := v.standing(spliceID); ok && !st.DueAt.IsZero() {
		return st.DueAt
	}
	if st, ok := v.standing(spliceID); ok && st.DueDay != "" {
		if day, err := st.DueDay.Midnight(v.f.zone()); err == nil {
			return day
		}
	}
	if f := v.forecast(spliceID); f != nil && !f.Band.At50.IsZero() {
		return f.Band.At50
	}
	return lastOfAll
}

var lastOfAll = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// firstDue is the forecast of a conveyor's splice that comes due first, nil where none has a due band.
func (v fleetView) firstDue(conveyorID int64) (assets.Splice, *due.Forecast) {
	var first assets.Splice
	var f *due.Forecast
	for _, s := range v.live(conveyorID) {
		cur := v.forecast(s.ID)
		if cur != nil && !cur.Band.At50.IsZero() && (f == nil || cur.Band.At50.Before(f.Band.At50)) {
			first, f = s, cur
		}
	}
	return first, f
}

// orderChance says of an order for a splice how likely that comes due before the stop it is placed in, else before the next.
func (v fleetView) orderChance(o workorder.Order, windows []assets.StopWindow) string {
	f := v.forecast(o.SpliceID)
	if f == nil || len(f.Causes) == 0 {
		return ""
	}
	c, _ := v.Register.Conveyor(o.ConveyorID)
	stop, _ := nextStop(windows, c, v.f.Now)
	if i := slices.IndexFunc(windows, func(w assets.StopWindow) bool { return w.ID == o.WindowID }); i >= 0 && o.WindowID != 0 {
		stop = &windows[i]
	}
	if stop == nil {
		return ""
	}
	return " " + Capital(v.beforeStop(f, stop)) + "."
}

// orderDue is what is foreseen today of the splice an order is for.
func (v fleetView) orderDue(o workorder.Order, windows []assets.StopWindow) []Fact {
	f := v.forecast(o.SpliceID)
	if f == nil {
		return nil
	}
	var facts []Fact
	if !f.Advice.At.IsZero() {
		facts = append(facts, Fact{"Recommended today", v.f.Day(f.Advice.Day) + ": " + f.Advice.Reason})
	}
	if f.Band.At10.IsZero() {
		return append(facts, Fact{"Due band", "none: " + v.silent(f)})
	}
	facts = append(facts, Fact{"Due 10 / 50 / 90 %", v.bandWords(f)})
	if says := v.orderChance(o, windows); says != "" {
		facts = append(facts, Fact{"Chance of coming due", says[1:]})
	}
	return append(facts, Fact{"Rests on", v.lawWords(f)})
}
