package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// Auditing is what the pages of the journal need.
type Auditing interface {
	// Journal returns entries of a plant, newest first, at most as many as asked for.
	Journal(ctx context.Context, scope assets.Scope, plantID int64, asked JournalAsked) ([]JournalLine, error)
	// Journalists returns the people who made entries at a plant.
	Journalists(ctx context.Context, scope assets.Scope, plantID int64) (map[int64]string, error)
	// Corrections returns what was entered at a plant, or for all plants by the company, after a moment, newest first.
	Corrections(ctx context.Context, scope assets.Scope, plantID int64, since time.Time) ([]JournalLine, error)
	// ProveChain begins to prove the chain of a plant's customer.
	ProveChain(ctx context.Context, scope assets.Scope, plantID int64) error
	// ChainProved returns how far that is, and where the chain stands.
	ChainProved(ctx context.Context, scope assets.Scope, plantID int64) (ChainProof, error)
}

// JournalAsked narrows a journal.
type JournalAsked struct {
	ConveyorID int64 // and what is on it
	Person     int64
	Program    bool // of no person
	From, To   assets.Instant
	Before     int64 // ahead of this position
	Limit      int
}

// JournalLine is an entry of the journal.
type JournalLine struct {
	Chain, Position int64
	At, ClockAt     assets.Instant
	Who             string // "" : no person
	Origin          string
	Action, Reason  string
	Hash            string
	Rows            []JournalRow
	Bulk            bool // its rows are counted only
	Leaves          int64
}

// JournalRow is a row that an entry wrote: what changed, before and after.
type JournalRow struct {
	Table              string
	ID                 int64
	Tag, Splice        string // where it belongs; "" nowhere
	ValidFrom, ValidTo assets.Instant
	New, Gone          bool
	Fields             []JournalField
}

// JournalField is one column of it.
type JournalField struct {
	Column        string
	Before, After any
}

// ChainHead is where a chain stands: its checkpoint.
type ChainHead struct {
	Chain, Position int64
	Hash            string
}

// ChainProof is how far the proof of a chain is, and what it found.
type ChainProof struct {
	Head            ChainHead // now
	Running         bool
	Done, Total     int64
	Began, Ended    time.Time // zero: never asked for since the program began
	Failed          string    // why it could not be proved; "" it could
	Entries, Rows   int64
	Breaks          int
	First           string // the first broken link
	Chain, Position int64  // to where it was proved
	Hash            string
}

// journalPage answers: who entered or changed what at this plant, when and why, and is the record whole?
type journalPage struct {
	Page
	Form   *Form
	To     string
	Clear  string
	Narrow bool
	Lines  []lineView
	Older  string
	Newest string
	Proof  proofView
}

// lineView is an entry as it is shown.
type lineView struct {
	Position, When, Clock, Who, From, What, Why, Hash string
	Rows                                              []rowView
	Counted, More                                     string
}

type rowView struct {
	Thing, Time string
	Fields      []fieldShown
}

type fieldShown struct{ Name, Before, After string }

// proofView is the state of the proof as it is shown.
type proofView struct {
	Say, When, First string
	Running          bool
	Done, Total      int64
	Checkpoint       string
	To               string
}

// perJournalPage is how many entries stand on a page.
const perJournalPage = 50

func auditRoutes() []Route {
	const journal = "/plants/:plant/journal"
	return []Route{
		{Method: get, Path: journal, May: people.ReadJournal, Under: "reports", Back: "journal", Do: (*Site).journal},
		{Method: post, Path: journal + "/proof", May: people.ReadJournal, Under: "reports", Back: "journal", Do: (*Site).proveChain},
		{Method: get, Path: "/plants/:plant/reports/issued/:issued", May: people.Read, Under: "reports", Back: "reports", Do: (*Site).issuedFile},
		{Method: get, Path: "/plants/:plant/reports/issued/:issued/proof", May: people.Read, Under: "reports", Back: "reports", Do: (*Site).issuedProof},
	}
}

// journal shows a page of entries.
func (s *Site) journal(r *Request) error {
	p := &journalPage{To: r.At("journal"), Clear: r.At("journal")}
	p.Sheet = "Journal"
	if err := s.fillJournal(r, p); p.Form != nil && p.Form.Refused(err) {
		p.Say, p.Sub = "The days do not fit", "Nothing is shown until they do."
		return r.Refill("journal", p)
	} else if err != nil {
		return err
	}
	if p.Proof.Running {
		r.C.Header("Refresh", "1")
	}
	return r.Show("journal", p)
}

func (s *Site) fillJournal(r *Request, p *journalPage) error {
	proof, err := s.Auditing.ChainProved(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	p.Proof = viewProof(r, proof)
	p.Say, p.Sub = p.Proof.Say, p.Proof.When
	asked, err := s.askedJournal(r, p)
	if err != nil {
		return err
	}
	lines, err := s.Auditing.Journal(r.Context(), r.Scope, r.PlantID(), asked)
	if err != nil {
		return err
	}
	if len(lines) > perJournalPage {
		lines = lines[:perJournalPage]
		p.Older = r.pageBefore(lines[perJournalPage-1].Position)
	}
	if asked.Before != 0 {
		p.Newest = r.pageBefore(0)
	}
	for _, l := range lines {
		p.Lines = append(p.Lines, shortLine(r.F, l))
	}
	return nil
}

// pageBefore is this page with entries ahead of a position, 0: the newest.
func (r *Request) pageBefore(position int64) string {
	q := r.C.Request.URL.Query()
	q.Del("before")
	if position != 0 {
		q.Set("before", strconv.FormatInt(position, 10))
	}
	if len(q) == 0 {
		return r.At("journal")
	}
	return r.At("journal") + "?" + q.Encode()
}

// askedJournal reads what the entries are narrowed by.
func (s *Site) askedJournal(r *Request, p *journalPage) (asked JournalAsked, err error) {
	var sent url.Values
	if q := r.C.Request.URL.Query(); len(q) > 0 {
		sent = q
	}
	reg, err := s.register(r)
	if err != nil {
		return asked, err
	}
	names, err := s.Auditing.Journalists(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return asked, err
	}
	f := NewForm(sent)
	f.Plain, p.Form = r.F, f
	f.ConveyorTag("conveyor", "Conveyor", "whatever was touched", "", reg)
	f.Select("person", "By", "", byWhom(names))
	f.Date("from", "Entered from", "")
	f.Date("to", "Entered to", "")
	p.Narrow = f.Value("conveyor")+f.Value("person")+f.Value("from")+f.Value("to") != ""
	asked.Limit = perJournalPage + 1
	asked.Before, _ = strconv.ParseInt(r.Query("before"), 10, 64) // what is no number is the newest page
	if person := f.Value("person"); person == programChoice {
		asked.Program = true
	} else if person != "" {
		asked.Person, _ = strconv.ParseInt(person, 10, 64)
	}
	if tag := f.Value("conveyor"); tag != "" {
		c, found := conveyorByTag(reg, tag)
		if !found {
			return asked, assets.Invalid{"conveyor": "no conveyor is called so; choose one of the list"}
		}
		asked.ConveyorID = c.ID
	}
	return asked, daysOf(r.F, f, &asked)
}

// programChoice is the choice of entries that no person made.
const programChoice = "program"

func byWhom(names map[int64]string) []Option {
	options := []Option{{Label: "anybody"}, {Value: programChoice, Label: "the program itself"}}
	var some []Option
	for id, name := range names {
		some = append(some, Option{Value: strconv.FormatInt(id, 10), Label: name})
	}
	slices.SortFunc(some, func(a, b Option) int { return strings.Compare(a.Label, b.Label) })
	return append(options, some...)
}

func conveyorByTag(reg *assets.Register, tag string) (assets.Conveyor, bool) {
	for _, c := range reg.Conveyors {
		if assets.TagKey(c.Tag) == assets.TagKey(tag) {
			return c, true
		}
	}
	return assets.Conveyor{}, false
}

// daysOf reads the days, both included, in the plant's time.
func daysOf(f Format, form *Form, asked *JournalAsked) error {
	bad := assets.Invalid{}
	if day := assets.Day(form.Value("from")); day != "" {
		end, err := day.End(f.zone())
		if err != nil {
			bad["from"] = err.Error()
		} else {
			local := end.In(f.zone())
			asked.From = assets.InstantOf(time.Date(local.Year(), local.Month(), local.Day()-1, 0, 0, 0, 0, f.zone()))
		}
	}
	if day := assets.Day(form.Value("to")); day != "" {
		end, err := day.End(f.zone())
		if err != nil {
			bad["to"] = err.Error()
		}
		asked.To = assets.InstantOf(end)
	}
	if asked.From != 0 && asked.To != 0 && asked.To <= asked.From {
		bad["to"] = "this day lies before the first; give a later one"
	}
	return bad.Err()
}

// proveChain begins the proof and leads back to the journal, which shows how far it is.
func (s *Site) proveChain(r *Request) error {
	if err := s.Auditing.ProveChain(r.Context(), r.Scope, r.PlantID()); err != nil {
		return err
	}
	return r.Done(r.At("journal"), "")
}

func viewProof(r *Request, p ChainProof) proofView {
	v := proofView{Running: p.Running, Done: p.Done, Total: p.Total, To: r.At("journal", "proof"), First: p.First}
	if p.Head.Position > 0 {
		v.Checkpoint = fmt.Sprintf("chain %d entry %d %s", p.Head.Chain, p.Head.Position, p.Head.Hash)
	}
	records := Figure(int(p.Head.Position), "record", "records")
	switch {
	case p.Running:
		v.Say = fmt.Sprintf("The record is being checked: %s of %s entries and rows so far", Int(p.Done), Int(max(p.Total, p.Done)))
	case p.Failed != "":
		v.Say, v.When = "The record could not be checked", p.Failed
	case p.Ended.IsZero():
		v.Say, v.When = "The journal holds "+records+" of this customer", "Not checked yet since the program was started."
	case p.Breaks > 0:
		v.Say = fmt.Sprintf("The record is broken in %s: the first is named below", Figure(p.Breaks, "place", "places"))
	default:
		v.Say = fmt.Sprintf("The chain is whole: %s of %s records checked, none altered", Int(p.Entries), Int(p.Head.Position))
	}
	if !p.Ended.IsZero() && p.Failed == "" && !p.Running {
		v.When = fmt.Sprintf("Checked %s with the %s rows it protects, in %s s.", r.F.Stamp(assets.InstantOf(p.Ended)), Int(p.Rows), Num(p.Ended.Sub(p.Began).Seconds(), 1))
	}
	return v
}

// lineShown puts an entry into words.
func lineShown(f Format, l JournalLine) lineView {
	v := lineView{Position: Int(l.Position), When: f.Stamp(l.At), Who: l.Who, From: originWords[l.Origin], What: Capital(l.Action), Why: l.Reason, Hash: shortDigest(l.Hash)}
	if v.Who == "" {
		v.Who = "the program"
	}
	if l.ClockAt != 0 {
		v.Clock = "the clock had been set back and said " + f.Stamp(l.ClockAt)
	}
	if l.Bulk {
		v.Counted = Figure(int(l.Leaves), "row", "rows") + " at once"
	}
	for _, row := range l.Rows {
		v.Rows = append(v.Rows, rowShown(f, row))
	}
	return v
}

// mostShownRows is how many rows of an entry the journal shows; the rest is counted.
const mostShownRows = 8

// shortLine is lineShown for a page of many entries.
func shortLine(f Format, l JournalLine) lineView {
	more := len(l.Rows) - mostShownRows
	if more > 0 {
		l.Rows = l.Rows[:mostShownRows]
	}
	v := lineShown(f, l)
	if more > 0 {
		v.More = "and " + Figure(more, "row", "rows") + " more"
	}
	return v
}

// originWords say from where an entry came.
var originWords = map[string]string{"screen": "at a screen", "import": "with a list", "job": "by a job", "command": "at the command line", "demo": "for the demonstration", "api": "by another program"}

func rowShown(f Format, row JournalRow) rowView {
	v := rowView{Thing: rowWords(row)}
	switch {
	case row.ValidFrom != 0 && row.ValidTo != 0:
		v.Time = "so from " + f.Stamp(row.ValidFrom) + " to " + f.Stamp(row.ValidTo)
	case row.ValidFrom != 0:
		v.Time = "so from " + f.Stamp(row.ValidFrom)
	}
	for _, field := range row.Fields {
		v.Fields = append(v.Fields, fieldShown{columnWords(field.Column), valueShown(f, field.Before), valueShown(f, field.After)})
	}
	return v
}

// tableWords are what the journal's tables are called at a plant.
var tableWords = map[string]string{"conveyors": "conveyor", "belts": "belt", "splices": "splice", "readings": "reading", "meters": "hour meter", "held_readings": "held reading",
	"findings": "finding", "orders": "order", "order_events": "step of an order", "rules": "rule", "stop_windows": "stop", "production_calendars": "calendar",
	"occurrences": "reminder", "plants": "plant", "lines": "line", "contacts": "contact", "people": "person", "contracts": "contract", "attachments": "attachment",
	"issued_reports": "report given out", "specifications": "belt specification", "splice_kinds": "splice kind", "finding_kinds": "kind of finding", "standstills": "standstill", "companies": "company", "imports": "list brought in"}

func rowWords(row JournalRow) string {
	word, known := tableWords[row.Table]
	if !known {
		word = strings.ReplaceAll(row.Table, "_", " ")
	}
	switch {
	case row.Splice != "":
		return word + " " + row.Tag + " S" + row.Splice
	case row.Tag != "" && row.Table == "conveyors":
		return word + " " + row.Tag
	case row.Tag != "":
		return word + " of " + row.Tag
	case row.ID != 0:
		return fmt.Sprintf("%s %d", word, row.ID)
	}
	return word
}

// unitEndings are units as they ride at the end of a column's name.
var unitEndings = []struct{ ending, unit string }{{"_mps", "m/s"}, {"_n_per_m", "N/m"}, {"_kg", "kg"}, {"_deg", "degrees"}, {"_mm", "mm"}, {"_days", "days"}, {"_m", "m"}, {"_h", "h"}, {"_c", "°C"}}

// columnWords names a column: speed_mps is "speed, m/s".
func columnWords(column string) string {
	for _, u := range unitEndings {
		if name, is := strings.CutSuffix(column, u.ending); is {
			return strings.ReplaceAll(name, "_", " ") + ", " + u.unit
		}
	}
	return strings.ReplaceAll(column, "_", " ")
}

// mostOfAValue is how many letters of a value are shown.
const mostOfAValue = 120

// valueShown writes a value of the journal; "" where there is none.
func valueShown(f Format, v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return textShown(f, v)
	case bool:
		return pick(v, "yes", "no")
	case json.Number:
		if x, err := v.Float64(); err == nil {
			return Short(x, 6)
		}
		return v.String()
	}
	text, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	return shortened(string(text))
}

// textShown writes a text of the journal: an instant in plant time, a digest by its beginning.
func textShown(f Format, s string) string {
	if at, err := time.Parse(time.RFC3339Nano, s); err == nil {
		return f.Stamp(assets.InstantOf(at))
	}
	if len(s) == 64 && strings.Trim(s, "0123456789abcdef") == "" {
		return shortDigest(s)
	}
	return shortened(s)
}

func shortened(s string) string {
	if r := []rune(s); len(r) > mostOfAValue {
		return string(r[:mostOfAValue]) + "…"
	}
	return s
}
