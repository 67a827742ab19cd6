package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"path"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/reports/workbook"
	"carryside/server/problem"
	"carryside/server/web/drawing"
)

// Importing is what the pages on which a plant's list is brought in need. The importer is the command's own.
type Importing interface {
	// ImportRegistry returns the register as the importer sees it, on behalf of whoever acts.
	ImportRegistry(scope assets.Scope, act Act) intake.Registry
	// ListsBroughtIn returns what was brought in at a plant, newest first.
	ListsBroughtIn(ctx context.Context, scope assets.Scope, plantID int64, limit int) ([]ListBroughtIn, error)
	// KeptHeadings lists what is kept for the lists of a customer, by name.
	KeptHeadings(ctx context.Context, scope assets.Scope, customerID int64) ([]KeptHeadings, error)
	// KeepHeadings keeps how a list was read under a name. assets.Invalid when the name is taken and replace is false.
	KeepHeadings(ctx context.Context, scope assets.Scope, act Act, plant assets.Plant, name, mapping string, replace bool) error
	RenameHeadings(ctx context.Context, scope assets.Scope, act Act, plant assets.Plant, id int64, name string) error
	RemoveHeadings(ctx context.Context, scope assets.Scope, act Act, plant assets.Plant, id int64) error
}

// ListBroughtIn is a list that was brought in.
type ListBroughtIn struct {
	File    string
	At      assets.Instant
	ByID    int64
	Counts  string // JSON by kind of record
	Refused string // JSON list of the rows left out
}

// importPage answers: how do I bring my list in, and which lists were?
type importPage struct {
	Page
	Form  *Form
	Lists []broughtLine
	Kept  []keptLine
}

type broughtLine struct{ File, At, By, What, LeftOut string }

// trialPage answers: what are my headings read as, what would the list do, which rows are refused and why,
// and do I bring it in?
type trialPage struct {
	Page
	Form      *Form
	To        string
	Running   bool
	Writing   bool
	Done      int
	Total     int
	Words     string
	Tables    []trialTable
	Bar       template.HTML
	Keys      []trialKey
	Counts    []trialCount
	Refused   []refusedLine
	MoreRef   int
	RefHead   string
	Held      []intake.HeldRow
	MoreHeld  int
	Changed   []changedLine
	MoreChg   int
	Remarks   []string
	RefusedTo string
	All       string // word of the button that brings everything in; "": not offered
	Rest      string // word of the button that leaves refused rows out
	Hindered  string // why it cannot be brought in
	Written   bool
	Keep      bool // the headings may be kept under a name
	Again     string
}

type trialTable struct {
	Head    string
	Columns []trialColumn
}

type trialColumn struct {
	Heading, First, Found string
	Field, Unit           *Field
}

type trialKey struct {
	Mark  string // inkf, hatch, win, nofit
	Words string
	Bad   bool
}

type trialCount struct{ Kind, Created, Changed, Unchanged string }

type refusedLine struct{ Where, Says, Cell, Why string }

type changedLine struct{ What, Field, Before, After string }

// mostTrialRows is how many refused, held or changed rows the page lists; the workbook has all.
const mostTrialRows = 100

// bringIn shows the form and takes a file.
func (s *Site) bringIn(r *Request) error {
	kept, err := s.Importing.KeptHeadings(r.Context(), r.Scope, r.Plant.Plant.CustomerID)
	if err != nil {
		return err
	}
	p := s.importPage(r.NewForm(), kept)
	if p.Kept, err = s.keptLines(r, kept, 0, nil); err != nil {
		return err
	}
	if r.Posted() {
		t, err := s.takeList(r, p.Form, kept)
		if p.Form.Refused(err) {
			if err := s.broughtIn(r, p); err != nil {
				return err
			}
			return r.Refill("import", p)
		} else if err != nil {
			return err
		}
		return r.Done(r.At("import", t.id), "")
	}
	if err := s.broughtIn(r, p); err != nil {
		return err
	}
	return r.Show("import", p)
}

// importPage is the page on which a list is sent.
func (s *Site) importPage(f *Form, kept []KeptHeadings) *importPage {
	p := &importPage{Form: f}
	p.Sheet, p.Say = "Bring in a list", "Bring in the list you keep: you see what it would do before anything is done"
	p.Sub = "A workbook (.xlsx) or CSV of conveyors, belts, splices, hour readings or findings, with your own headings and units. At most 64 MB."
	f.File("file", "The list", ".xlsx,.xlsm,.csv,.txt,text/csv").Must().OverBoth()
	f.Select("date_order", "Dates like 03/04/2025", "", dateOrders).Hinted("Only where the list itself does not tell")
	headingsField(f, kept)
	return p
}

var dateOrders = []Option{{Label: "ask me"}, {Value: "dmy", Label: "day first"}, {Value: "mdy", Label: "month first"}, {Value: "ymd", Label: "year first"}}

func (s *Site) broughtIn(r *Request, p *importPage) error {
	lists, err := s.Importing.ListsBroughtIn(r.Context(), r.Scope, r.PlantID(), 20)
	if err != nil {
		return err
	}
	var ids []int64
	for _, l := range lists {
		ids = append(ids, l.ByID)
	}
	names, err := s.Meters.NamesOf(r.Context(), ids)
	if err != nil {
		return err
	}
	for _, l := range lists {
		line := broughtLine{File: l.File, At: r.F.Stamp(l.At), By: names[l.ByID], What: countsWords(l.Counts)}
		var left []json.RawMessage
		if json.Unmarshal([]byte(l.Refused), &left) == nil && len(left) > 0 {
			line.LeftOut = Figure(len(left), "row", "rows")
		}
		p.Lists = append(p.Lists, line)
	}
	return nil
}

// countsWords says what a list brought: "12 conveyors new, 3 splices changed".
func countsWords(counts string) string {
	var by map[intake.Kind]intake.Count
	if json.Unmarshal([]byte(counts), &by) != nil {
		return ""
	}
	var parts []string
	for _, k := range intake.Kinds {
		if n := by[k].Created; n > 0 {
			parts = append(parts, kindCount(k, n)+" new")
		}
		if n := by[k].Changed; n > 0 {
			parts = append(parts, kindCount(k, n)+" changed")
		}
	}
	if len(parts) == 0 {
		return "nothing new"
	}
	return strings.Join(parts, ", ")
}

func kindCount(k intake.Kind, n int) string { return Figure(n, string(k), string(k)+"s") }

// takeList reads the file that was sent and starts its trial.
func (s *Site) takeList(r *Request, f *Form, kept []KeptHeadings) (*trial, error) {
	head, err := r.C.FormFile("file")
	if errors.Is(err, http.ErrMissingFile) || err != nil && head == nil {
		return nil, assets.Invalid{"file": "choose the file with the list"}
	}
	file, err := head.Open()
	if err != nil {
		return nil, fmt.Errorf("open the list that was sent: %w", err)
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, intake.MaxFileBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read the list that was sent: %w", err)
	}
	name := path.Base(strings.ReplaceAll(head.Filename, `\`, "/"))
	if len(data) > intake.MaxFileBytes {
		return nil, assets.Invalid{"file": fmt.Sprintf("%s is larger than %d MB, the limit for one file; split it", name, intake.MaxFileBytes>>20)}
	}
	if err := listEnding(name, data); err != nil {
		return nil, err
	}
	if err := r.clean(data); err != nil {
		return nil, err
	}
	order := f.Value("date_order")
	if order != "" && !intake.ValidDateOrder(order) {
		return nil, assets.Invalid{"date_order": "choose the order of dates from the list"}
	}
	mapping, err := chosenHeadings(f, kept)
	if err != nil {
		return nil, err
	}
	t := &trial{id: token(), plantID: r.PlantID(), personID: r.Who.Person.ID, name: name, data: data, touched: r.Now,
		opt: intake.Options{Mapping: mapping, Plant: r.Plant.Plant.Name, DateOrder: order, Zone: r.Plant.Plant.Zone, Now: r.Now, Zoned: r.F.zone()}}
	if t.id == "" {
		return nil, errors.New("no key could be made for the list")
	}
	if err := s.trials.add(t, r.Now); err != nil {
		return nil, assets.Invalid{"": err.Error()}
	}
	s.work(r, t)
	return t, nil
}

// listEnding refuses a list whose name promises something else than its contents are. A name of a workbook with other
// contents is refused where it is opened, with what to do about each kind.
func listEnding(name string, data []byte) error {
	ending := strings.ToLower(path.Ext(name))
	plain := slices.Contains([]string{".csv", ".txt", ".tsv"}, ending)
	switch {
	case bytes.HasPrefix(data, []byte("PK\x03\x04")) && plain:
		return assets.Invalid{"file": "this is a workbook by its contents, but its name ends in " + ending + "; let it end in .xlsx"}
	case !plain && !slices.Contains([]string{".xlsx", ".xlsm", ".xltx", ".xltm", ".xls", ".xlsb", ".ods"}, ending):
		return assets.Invalid{"file": "a list is a workbook (.xlsx) or plain text (.csv, .tsv, .txt); let its name say which it is"}
	}
	return nil
}

// work starts, or starts again, to work a trial out.
func (s *Site) work(r *Request, t *trial) {
	reg := s.Importing.ImportRegistry(r.Scope, r.act("bring in "+t.name, ""))
	t.start(trialRunning, r.Now, func(ctx context.Context) error { return t.judge(ctx, reg) })
}

// trialAsked finds the trial an address names; one that is over leads back to the form.
func (s *Site) trialAsked(r *Request) *trial {
	return s.trials.find(r.C.Param("trial"), r.PlantID(), r.Who.Person.ID)
}

func (s *Site) trialOver(r *Request) error {
	return r.Done(r.At("import"), "That trial is over. Send the file again: nothing of it was kept, and a list brought in twice changes nothing.")
}

// trial shows how far a list is and what it would do.
func (s *Site) trial(r *Request) error {
	t := s.trialAsked(r)
	if t == nil {
		return s.trialOver(r)
	}
	seen := t.seen(r.Now)
	switch seen.State {
	case trialRunning, trialWriting:
		return s.showRunning(r, t.id, seen)
	case trialStopped:
		return r.Done(r.At("import"), seen.Name+" was stopped; nothing of it was kept.")
	case trialFailed:
		return s.showFailed(r, seen)
	}
	return s.showTrial(r, t.id, seen, nil)
}

// showRunning shows the progress; the browser asks again by itself, without script.
func (s *Site) showRunning(r *Request, id string, seen seenTrial) error {
	p := &trialPage{Form: r.NewForm(), To: r.At("import", id), Running: true, Writing: seen.State == trialWriting, Done: seen.Done, Total: seen.Total}
	p.Sheet, p.Say = "Import", "Working out what "+seen.Name+" would do"
	p.Sub = "A trial only: the records are untouched. You may leave this page and come back to it."
	if p.Writing {
		p.Say, p.Sub = "Bringing "+seen.Name+" in", "Everything goes in together or not at all. You may leave this page and come back to it."
	}
	p.Words = progressWords(seen, r)
	r.C.Header("Refresh", "1")
	return r.Show("trial", p)
}

func progressWords(seen seenTrial, r *Request) string {
	if seen.Total <= 0 {
		return "Reading the file"
	}
	say := Int(int64(seen.Done)) + " of " + Figure(seen.Total, "row", "rows")
	gone := r.Now.Sub(seen.Began).Seconds()
	if seen.Done > 0 && gone > 3 && seen.Done < seen.Total {
		say += fmt.Sprintf(", about %s left", With(Num(gone/float64(seen.Done)*float64(seen.Total-seen.Done), 0), "s"))
	}
	return say
}

// showFailed tells why a list cannot be read, or why writing it failed.
func (s *Site) showFailed(r *Request, seen seenTrial) error {
	var wrong *intake.MappingError
	var bad assets.Invalid
	switch {
	case errors.As(seen.Err, &bad), errors.Is(seen.Err, assets.ErrNotFound), errors.Is(seen.Err, assets.ErrForbidden):
		return seen.Err
	case errors.Is(seen.Err, assets.ErrConflict):
		return problem.Status{Code: http.StatusConflict, Title: "The register changed since the list was worked out",
			Detail: "Nothing was brought in. Send the file again: it is then judged beside what is kept now."}
	case errors.As(seen.Err, &wrong), seen.Out == nil && !errors.Is(seen.Err, errTrialBroke):
		kept, err := s.Importing.KeptHeadings(r.Context(), r.Scope, r.Plant.Plant.CustomerID)
		if err != nil {
			return err
		}
		p := s.importPage(r.NewForm(), kept)
		if p.Kept, err = s.keptLines(r, kept, 0, nil); err != nil {
			return err
		}
		p.Say, p.Sub = seen.Name+" cannot be brought in as it is", "Nothing was kept. Mend the file and send it again."
		p.Form.Get("file").Error = strings.TrimSuffix(seen.Err.Error(), ".") + "."
		if err := s.broughtIn(r, p); err != nil {
			return err
		}
		return r.Refill("import", p)
	}
	return seen.Err
}

// showTrial shows what a list would do, or did.
func (s *Site) showTrial(r *Request, id string, seen seenTrial, bad error) error {
	p := &trialPage{Form: r.NewForm(), To: r.At("import", id), RefusedTo: r.At("import", id, "refused"), Written: seen.State == trialWritten, Again: r.At("import")}
	p.Sheet, p.Say = "Import", trialSay(seen)
	p.Sub = trialSub(seen)
	p.mapping(seen)
	if p.Keep = !nothingIn(seen.Out) && seen.Out.Mapping != nil; p.Keep {
		keepFields(p.Form)
	}
	p.results(r, seen)
	if len(seen.Out.Refused)+len(seen.Out.Held) > 0 {
		p.Do = append(p.Do, Action{Word: "Refused rows as a workbook", To: p.RefusedTo})
	}
	p.Do = append(p.Do, Action{Word: pick(p.Written, "Bring in another list", "Try again with a mended file"), To: r.At("import"), Main: p.Written || len(seen.Out.Refused) > 0})
	if !p.Written {
		p.offer(s, r, seen)
	}
	if p.Form.Refused(bad) {
		return r.Refill("trial", p)
	}
	return r.Show("trial", p)
}

// offer says which buttons stand below a trial.
func (p *trialPage) offer(s *Site, r *Request, seen seenTrial) {
	ready, refused := seen.Out.Rows.Accepted+seen.Out.Rows.Held, len(seen.Out.Refused)
	var bad assets.Invalid
	switch err := s.mayTouch(r, seen.Changes); {
	case nothingIn(seen.Out):
		p.Hindered = "Nothing to bring in: no heading row with rows below it was found that tells conveyors, belts, splices, hours or findings. Say below what the columns are, or give the list headings."
	case asInvalid(err, &bad):
		p.Hindered = Capital(bad.Error()) + "."
	case seen.Changes.Empty() && refused == 0:
		p.Hindered = "The list changes nothing: everything in it is in the records already."
	case seen.Changes.Empty():
		p.Hindered = "The rows that are ready change nothing: what they say is in the records already."
	case refused == 0:
		p.All = "Bring in " + pick(ready == 1, "the row", "all "+Figure(ready, "row", "rows"))
	case ready > 0:
		p.Rest = fmt.Sprintf("Leave %s out and bring in %s", pick(refused == 1, "it", "the "+Int(int64(refused))), Int(int64(ready)))
	}
}

// trialSay is the headline.
func trialSay(seen seenTrial) string {
	ready, refused := seen.Out.Rows.Accepted+seen.Out.Rows.Held, len(seen.Out.Refused)
	all := ready + seen.Out.Rows.Refused
	switch {
	case seen.State == trialWritten && seen.LeftOut > 0:
		return Capital(Figure(ready, "row", "rows")) + pick(ready == 1, " is", " are") + " brought in, " + Count(seen.LeftOut, "was left out", "were left out")
	case seen.State == trialWritten:
		return Capital(Figure(ready, "row", "rows")) + pick(ready == 1, " is", " are") + " brought in"
	case nothingIn(seen.Out):
		return "Nothing in " + seen.Name + " was understood, so nothing is brought in"
	case refused > 0 && ready == 0:
		return Capital(Figure(refused, "row is refused", "rows are refused")) + " and none is ready, so nothing is brought in"
	case refused > 0:
		return fmt.Sprintf("%s of %s are ready; %s, so nothing is brought in yet", Int(int64(ready)), Figure(all, "row", "rows"), Figure(refused, "is refused", "are refused"))
	case seen.Changes.Empty():
		return "Everything in " + seen.Name + " is in the records already"
	}
	return Capital(pick(all == 1, "the row is ready", "all "+Figure(all, "row", "rows")+" are ready"))
}

func trialSub(seen seenTrial) string {
	what := seen.Name
	if seen.Out.Mapping != nil {
		for i, t := range seen.Out.Mapping.Tables {
			if i == 3 {
				what += "; more tables"
				break
			}
			if t.Sheet != "" {
				what += ", sheet '" + t.Sheet + "'"
			}
			if len(t.HeaderRows) > 0 {
				what += fmt.Sprintf(", headings in row %d", t.HeaderRows[len(t.HeaderRows)-1])
			}
		}
	}
	if seen.State == trialWritten {
		return what + ". The same file again changes nothing."
	}
	return what + ". A trial only: the records are untouched. What is brought in goes in together or not at all."
}

// trialStep takes what a person decides about a trial.
func (s *Site) trialStep(r *Request) error {
	t := s.trialAsked(r)
	if t == nil {
		return s.trialOver(r)
	}
	seen := t.seen(r.Now)
	posted := r.C.Request.PostForm
	switch {
	case posted.Has("stop"):
		t.cancel()
		return r.Done(r.At("import"), seen.Name+" was stopped; nothing of it was kept.")
	case posted.Has("keep") && (seen.State == trialReady || seen.State == trialWritten):
		return s.keepHeadings(r, t, seen)
	case seen.State != trialReady:
		return r.Done(r.At("import", t.id), "")
	case posted.Has("all") || posted.Has("rest"):
		return s.writeTrial(r, t, seen, posted.Has("rest"))
	}
	opt, err := seen.remapped(posted)
	if err != nil {
		return s.showTrial(r, t.id, seen, err)
	}
	opt.Now = r.Now
	t.mu.Lock()
	t.opt = opt
	t.mu.Unlock()
	s.work(r, t)
	return r.Done(r.At("import", t.id), "")
}

// writeTrial writes a list: all of it, or without its refused rows when a person said so.
func (s *Site) writeTrial(r *Request, t *trial, seen seenTrial, rest bool) error {
	if err := s.mayTouch(r, seen.Changes); err != nil {
		return s.showTrial(r, t.id, seen, err)
	}
	if n := len(seen.Out.Refused); n > 0 && !rest {
		return s.showTrial(r, t.id, seen, assets.Invalid{"": fmt.Sprintf("%s; mend them, or say that they are left out", Figure(n, "row is refused", "rows are refused"))})
	}
	if nothingIn(seen.Out) || seen.Changes.Empty() {
		return s.showTrial(r, t.id, seen, assets.Invalid{"": "there is nothing to bring in"})
	}
	t.mu.Lock()
	t.leftOut = len(seen.Out.Refused)
	t.mu.Unlock()
	reg := s.Importing.ImportRegistry(r.Scope, r.act("bring in "+t.name, ""))
	t.start(trialWriting, r.Now, func(ctx context.Context) error { return reg.Apply(ctx, seen.Changes) })
	return r.Done(r.At("import", t.id), "")
}

// refusedRows sends the refused and held rows as a workbook, to be mended and brought in again.
func (s *Site) refusedRows(r *Request) error {
	t := s.trialAsked(r)
	if t == nil {
		return s.trialOver(r)
	}
	seen := t.seen(r.Now)
	if seen.Out == nil {
		return r.Done(r.At("import", t.id), "")
	}
	var b bytes.Buffer
	if err := workbook.WriteRefused(&b, seen.Out.RefusedSheets()); err != nil {
		return fmt.Errorf("write the refused rows of %s: %w", seen.Name, err)
	}
	name := strings.TrimSuffix(seen.Name, path.Ext(seen.Name)) + " refused.xlsx"
	return r.Send(strings.Map(func(c rune) rune { return pickRune(c < 32 || c > 126 || c == '"', '_', c) }, name), "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", b.Bytes())
}

func pickRune(yes bool, a, b rune) rune {
	if yes {
		return a
	}
	return b
}

// bar draws what would happen, row by row.
func (p *trialPage) bar(made, changed, same, held, refused int) {
	p.Bar = drawing.OfTrial(drawing.Trial{Made: made, Changed: changed, Same: same, Held: held, Refused: refused})
	add := func(mark string, n int, words string, bad bool) {
		if n > 0 {
			p.Keys = append(p.Keys, trialKey{Mark: mark, Words: Int(int64(n)) + " " + words, Bad: bad})
		}
	}
	add("inkf", made, pick(p.Written, "made", "would be made"), false)
	add("hatch", changed, "changed", false)
	add("win", same, "already the same", false)
	add("chalkf", held, "held for a decision", false)
	add("nofit", refused, "refused", true)
}
