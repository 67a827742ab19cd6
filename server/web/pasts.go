package web

import (
	"html/template"
	"sort"
	"time"

	"carryside/assets"
	"carryside/server/web/drawing"
)

// historyPart is the belts and splices a conveyor has had, drawn and as a table.
type historyPart struct {
	Say     string
	Drawing template.HTML
	Keys    []template.HTML
	Rows    []pastRow
}

type pastRow struct {
	Belt, Splice, Made, Ended, Why string
	To                             string
}

func (v fleetView) history(c assets.Conveyor, past *Past) *historyPart {
	if len(past.Belts) == 0 && len(past.Splices) == 0 {
		return nil
	}
	h := drawing.History{From: v.f.Now, Now: v.f.Now, Zone: v.f.zone()}
	belts := drawing.HistoryRow{Name: "Belt", Bars: true}
	for _, b := range past.Belts {
		st := drawing.Stretch{From: b.Fitted.At.Time(), Words: v.barWords(b)}
		if b.Removed != nil {
			st.To = b.Removed.Time()
		}
		belts.Stretches = append(belts.Stretches, st)
		h.From = earlier(h.From, st.From)
	}
	h.Rows = append(h.Rows, belts)
	for _, number := range marksOf(past.Splices) {
		row := drawing.HistoryRow{Name: "Splice " + number}
		for _, s := range past.Splices {
			if s.Number == number {
				row.Stretches = append(row.Stretches, stretchOf(s))
				h.From = earlier(h.From, s.Made.At.Time())
			}
		}
		h.Rows = append(h.Rows, row)
	}
	for _, m := range past.Meters {
		if m.Why == assets.MeterReplaced {
			h.Marks = append(h.Marks, drawing.HistoryMark{At: m.FromAt.Time(), Words: "hour meter replaced " + v.f.PlainDay(assets.DayOf(v.f.Local(m.FromAt)))})
		}
	}
	part := &historyPart{Say: "Belts and splices since " + h.From.In(h.Zone).Format("2006"), Rows: v.pastRows(past), Keys: endKeys}
	h.Sentence = part.Say + " on " + c.Tag
	part.Drawing = drawing.OfHistory(h)
	return part
}

var endKeys = []template.HTML{
	drawing.EndKey(drawing.Failed, "failed"), drawing.EndKey(drawing.Replaced, "replaced sound"),
	drawing.EndKey(drawing.BeltRemoved, "belt removed"), drawing.EndKey(drawing.EndedUnknown, "why not known"),
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) && !b.IsZero() {
		return b
	}
	return a
}

func (v fleetView) barWords(b assets.Belt) string {
	words := v.specWords(b)
	if b.LoopLengthM > 0 {
		words += pick(words == "", "", ", ") + v.f.Loop(b.LoopLengthM)
	}
	if b.RollNumber != "" {
		words += ", roll " + b.RollNumber
	}
	return words
}

// marksOf lists the marks that splices have had, as people order them.
func marksOf(splices []assets.Splice) []string {
	seen := map[string]bool{}
	var marks []string
	for _, s := range splices {
		if !seen[s.Number] {
			seen[s.Number] = true
			marks = append(marks, s.Number)
		}
	}
	sort.SliceStable(marks, func(i, j int) bool { return assets.CompareTags(marks[i], marks[j]) < 0 })
	return marks
}

func stretchOf(s assets.Splice) drawing.Stretch {
	st := drawing.Stretch{From: s.Made.At.Time(), Vague: !s.Made.Exact()}
	if s.Ended == nil {
		return st
	}
	st.To = s.Ended.Time()
	switch s.RetiredWhy {
	case assets.RetiredFailed:
		st.End, st.Words = drawing.Failed, "failed"
		if s.FailureMode != "" {
			st.Words += ", " + s.FailureMode
		}
	case assets.RetiredPlanned:
		st.End = drawing.Replaced
	case assets.RetiredBeltRemoved:
		st.End = drawing.BeltRemoved
	case assets.RetiredConveyorScrapped:
		st.End = drawing.Scrapped
	default:
		st.End = drawing.EndedUnknown
	}
	return st
}

// pastRows is the history as a table, from old to new.
func (v fleetView) pastRows(past *Past) []pastRow {
	roll := map[int64]string{}
	for _, b := range past.Belts {
		roll[b.ID] = b.RollNumber
		if b.RollNumber == "" {
			roll[b.ID] = v.f.When(b.Fitted)
		}
	}
	var rows []pastRow
	for _, s := range past.Splices {
		row := pastRow{Belt: roll[s.BeltID], Splice: s.Number, Made: v.f.When(s.Made), Why: "running", To: at(v.Register.Plant.ID, "splices", s.ID)}
		if s.Ended != nil {
			row.Ended, row.Why = v.f.When(s.Retired), s.RetiredWhy.Words()
			if s.FailureMode != "" {
				row.Why += ", " + s.FailureMode
			}
		}
		rows = append(rows, row)
	}
	return rows
}
