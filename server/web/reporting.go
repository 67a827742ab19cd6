package web

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/url"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/due"
	"carryside/schedule/people"
)

// Reporting is what the pages of reports need.
type Reporting interface {
	// ReadReport hands over what a report of a scope is built from, all of one moment, as known at an instant (zero: now).
	ReadReport(ctx context.Context, scope assets.Scope, knownAt time.Time, fn func(reports.Source) error) error
	// ReportZone returns the company's zone, in which a moment over several plants is told.
	ReportZone(ctx context.Context) (*time.Location, error)
	// ReportVersion names the program, for the cover of a report.
	ReportVersion() string
	// IssueReport keeps a report that was written and journals its digest.
	IssueReport(ctx context.Context, act Act, r *reports.Report, proof reports.Proof, form string, file reports.FileProved, content []byte) error
	// IssuedReports lists the reports of a plant given out last.
	IssuedReports(ctx context.Context, scope assets.Scope, plantID int64, limit int) ([]IssuedReport, error)
	// IssuedFile returns the bytes of a report of a plant as they were given out, and its proof.
	IssuedFile(ctx context.Context, scope assets.Scope, plantID, id int64) (reports.ProofFile, []byte, error)
}

// IssuedReport is a report as it was given out.
type IssuedReport struct {
	ID                           int64
	Slug                         string
	Title, Form, File, Scope, By string
	AsOf, KnownAt                string // as asked for; "": the moment of building
	At                           assets.Instant
	Rows                         int64
	Digest                       string // of the file
}

// reportsPage answers: which reports are there, what does each answer, and how do I make one as of a day?
type reportsPage struct {
	Page
	Entries []reportLine
	Form    *Form
	To      string
	Last    []issuedRow
}

type reportLine struct{ Title, Question, To string }

// reportPage is one report as of a day, before it is printed or taken along.
type reportPage struct {
	Page
	Form    *Form
	Slug    string
	Report  *reports.Report
	Columns []reports.Column
	Rows    [][]reports.Cell
	Take    *takePart
	Left    int        // rows that only the files have
	Since   *sincePart // what was learned after the known-at day; nil: as known now
}

// takePart is the form with which the report on the page is taken along as a file: giving it out is journalled, so a
// link, which a browser may follow ahead, does not do it.
type takePart struct {
	To    string
	Asked []Option // what was asked for the page: the name of a field and what stands in it
	Forms []Option // a button each
}

// mostPreviewRows is how many rows the page shows; the files have all.
const mostPreviewRows = 1000

// reportWay is a form a report is taken along in.
type reportWay struct {
	format, words, ending, mime string
	write                       func(*reports.Report, context.Context, io.Writer) (reports.Proof, error)
}

// reportForms are the forms a report is taken along in.
var reportForms = []reportWay{
	{"xlsx", "Workbook", ".xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", (*reports.Report).WriteXLSX},
	{"csv", "CSV", ".csv", "text/csv; charset=utf-8", (*reports.Report).WriteCSV},
	{"json", "JSON", ".json", "application/json", (*reports.Report).WriteJSON},
	{"html", "Page for paper", ".html", "text/html; charset=utf-8", (*reports.Report).WritePage},
}

func (s *Site) reports(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	entries := r.reportsOpen()
	p := &reportsPage{Form: catalogueForm(r, reg), To: r.At("reports", "make")}
	p.Sheet, p.Say = "Reports", reportsSay(len(entries))
	p.Sub = "As of any past day, with what is known now or was known on a day; each with a proof that tells whether its file was changed."
	for _, e := range entries {
		p.Entries = append(p.Entries, reportLine{Title: e.Title, Question: e.Question, To: r.At("reports", e.Slug)})
	}
	if p.Last, err = s.issuedRows(r); err != nil {
		return err
	}
	return r.Show("reports", p)
}

// reportsOpen are the reports of the catalogue that whoever asks may have at the plant.
func (r *Request) reportsOpen() []reports.Entry {
	var out []reports.Entry
	for _, e := range reports.Catalogue {
		if r.May(e.Deed()) {
			out = append(out, e)
		}
	}
	return out
}

// reportOpen returns a report of the catalogue. One that whoever asks may not have is refused as the page of its subject is.
func (r *Request) reportOpen(slug string) (reports.Entry, error) {
	e, err := reports.Find(slug)
	if err != nil {
		return e, assets.ErrNotFound
	}
	if !r.May(e.Deed()) {
		return e, fmt.Errorf("%s: %w", e.Deed(), assets.ErrForbidden)
	}
	return e, nil
}

func reportsSay(n int) string {
	if n == 1 {
		return "One report is kept ready: how old every splice is, on any day"
	}
	return Capital(Count(n, "report is", "reports are")) + " kept ready, each as of any day"
}

// catalogueForm is which report, as-of day and scope.
func catalogueForm(r *Request, reg *assets.Register) *Form {
	f := NewForm(r.asked())
	f.Plain = r.F
	var entries []Option
	for _, e := range r.reportsOpen() {
		entries = append(entries, Option{Value: e.Slug, Label: e.Title})
	}
	f.Select("report", "Report", "", entries).Must().OverBoth()
	var over []string
	for _, e := range r.reportsOpen() {
		if e.Periodic() {
			over = append(over, lower(e.Title))
		}
	}
	return reportFields(f, r, reg, len(over) > 0, ". For: "+List(over))
}

// reportForm is as-of day and scope, and the period of a report that covers one.
func reportForm(r *Request, reg *assets.Register, e reports.Entry) *Form {
	f := NewForm(r.asked())
	f.Plain = r.F
	reportFields(f, r, reg, e.Periodic(), "")
	if e.OfStops() {
		f.Text("stop", "Stop that begins", "").Hinted("In the plant's time, such as 2026-12-12T06:00; empty: the next twelve weeks")
	}
	return f
}

// asked is what was sent with the form, or stands in the address; nil when neither says anything.
func (r *Request) asked() url.Values {
	if r.Posted() {
		return r.C.Request.PostForm
	}
	if q := r.C.Request.URL.Query(); len(q) > 0 {
		return q
	}
	return nil
}

// askedFields are the fields that say what a report is of.
var askedFields = []string{"as-of", "known-at", "from", "to", "line", "conveyor", "stop"}

// strangeNames refuses names that a page of a report does not know: one that is misspelt would be a report of another day
// under the address of the day asked for.
func (r *Request) strangeNames(known ...string) error {
	for name, values := range r.C.Request.URL.Query() {
		switch {
		case !slices.Contains(known, name) && name != "format": // which only a form that is sent gives out
			return assets.Invalid{"": fmt.Sprintf("“%s” in the address is no name of this page; there are %s, each written like that", name, List(known))}
		case len(values) > 1:
			return assets.Invalid{"": fmt.Sprintf("“%s” stands %d times in the address; give it once", name, len(values))}
		}
	}
	return nil
}

func reportFields(f *Form, r *Request, reg *assets.Register, period bool, ofWhich string) *Form {
	f.Date("as-of", "As of, end of day", string(r.F.Today())).Hinted("Any past day; today is as of now")
	f.Date("known-at", "As known at, end of day", "").Hinted("Empty: with what is known now. A past day: as it was known then")
	if period {
		f.Date("from", "Period from", "").Hinted("First day; empty: from the first entry" + ofWhich)
		f.Date("to", "Period to, end of day", "").Hinted("Last day; empty: to what as-of looks at" + ofWhich)
	}
	lines := []Option{{Label: "every line"}}
	for _, l := range reg.Lines {
		lines = append(lines, Option{Value: l.Name, Label: l.Name})
	}
	f.Select("line", "Line", "", lines)
	f.ConveyorTag("conveyor", "Conveyor", "every conveyor", "", reg)
	return f
}

// makeReport leads from the catalogue's form to the report's own address.
func (s *Site) makeReport(r *Request) error {
	q := r.C.Request.URL.Query()
	e, err := r.reportOpen(q.Get("report"))
	if err != nil {
		return err
	}
	q.Del("report")
	if !e.Periodic() && q.Get("from")+q.Get("to") == "" { // fields of another report, left empty
		q.Del("from")
		q.Del("to")
	}
	return r.Done(r.At("reports", e.Slug)+"?"+q.Encode(), "")
}

// report shows one report; posted, it is given out as a file.
func (s *Site) report(r *Request) error {
	e, err := r.reportOpen(r.C.Param("report"))
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	p := &reportPage{Form: reportForm(r, reg, e), Slug: e.Slug}
	p.Sheet, p.Say = e.Title, e.Question
	if err = r.strangeNames(askedFields...); err != nil {
		p.Say = "This is not what was asked for"
	} else if r.Posted() {
		err = s.giveOut(r, e, p.Form)
	} else {
		err = s.makeOne(r, e, p)
	}
	switch {
	case p.refused(err):
		p.Report = nil
		return r.Refill("report", p)
	case err != nil || r.Posted():
		return err
	}
	return r.Show("report", p)
}

// giveOut builds the report in the form asked for, keeps it and sends it. Nothing said is the workbook.
func (s *Site) giveOut(r *Request, e reports.Entry, f *Form) error {
	in, day, err := s.askedReport(r, f)
	if err != nil {
		return err
	}
	form := 0
	if asked := r.C.Request.PostForm.Get("format"); asked != "" {
		form = slices.IndexFunc(reportForms, func(known reportWay) bool { return known.format == asked })
	}
	if form < 0 {
		return assets.ErrNotFound
	}
	in.Corrections = reports.Told
	if r.May(people.ReadJournal) {
		in.Corrections = reports.Explained
	}
	var file *madeFile
	err = s.Reporting.ReadReport(r.Context(), assets.PlantScope(r.PlantID()), in.Known.At, func(source reports.Source) error {
		in.Source = source
		report, err := e.Build(r.Context(), in, day)
		if err != nil {
			return err
		}
		file, err = r.makeFile(report, form)
		return err
	})
	if err != nil {
		return err
	}
	return s.sendReport(r, file)
}

// makeOne builds the report and fills the page.
func (s *Site) makeOne(r *Request, e reports.Entry, p *reportPage) error {
	in, day, err := s.askedReport(r, p.Form)
	if err != nil {
		return err
	}
	err = s.Reporting.ReadReport(r.Context(), assets.PlantScope(r.PlantID()), in.Known.At, func(source reports.Source) error {
		in.Source = source
		report, err := e.Build(r.Context(), in, day)
		if err != nil {
			return err
		}
		return p.fill(r, report)
	})
	if err != nil {
		return err
	}
	return s.since(r, e, in, day, p)
}

// askedReport reads the form.
func (s *Site) askedReport(r *Request, f *Form) (in reports.Inputs, day assets.Day, err error) {
	zone, err := s.Reporting.ReportZone(r.Context())
	if err != nil {
		return in, "", err
	}
	bad := assets.Invalid{}
	for _, name := range []string{"as-of", "known-at", "from", "to"} {
		if d := assets.Day(f.Value(name)); d > r.F.Today() && len(d) == len("2026-11-25") {
			bad[name] = "this day has not come yet; give today or a day before"
		}
	}
	if err := bad.Err(); err != nil {
		return in, "", err
	}
	if day = assets.Day(f.Value("as-of")); day == r.F.Today() {
		day = ""
	}
	known := f.Value("known-at")
	if assets.Day(known) == r.F.Today() {
		known = ""
	}
	in = reports.Inputs{Built: r.Now, Zone: zone, Period: reports.Period{From: assets.Day(f.Value("from")), To: assets.Day(f.Value("to"))}, By: r.Who.Person.Name, Version: s.Reporting.ReportVersion(), PlantID: r.PlantID(),
		Filter: reports.Filter{Plant: r.Plant.Plant.Name, Line: f.Value("line"), Conveyor: f.Value("conveyor"), Stop: f.Value("stop")}}
	in.Known, err = reports.NewKnownAt(known, zone)
	return in, day, err
}

// refused puts what is wrong with day or scope beside its field; a scope is wrong where it was chosen.
func (p *reportPage) refused(err error) bool {
	names := map[string]string{"scope": "conveyor"}
	if p.Form.Value("conveyor") == "" {
		names["scope"] = "line"
	}
	return p.Form.Refused(renamed(err, names))
}

// madeFile is a report as a file, whole before a byte of it is sent, so that an error leaves no half of one.
type madeFile struct {
	report  *reports.Report
	form    int // of reportForms
	name    string
	content bytes.Buffer
	proof   reports.Proof
	proved  reports.FileProved
}

func (r *Request) makeFile(report *reports.Report, form int) (*madeFile, error) {
	f := &madeFile{report: report, form: form, name: reportFile(report, r.Plant.Plant.Name, r.F) + reportForms[form].ending}
	out := reports.NewFileDigest(&f.content)
	var err error
	if f.proof, err = reportForms[form].write(report, r.Context(), out); err != nil {
		return nil, fmt.Errorf("write report %s: %w", report.Slug, err)
	}
	f.proved = out.Of(f.name)
	return f, nil
}

// sendReport keeps the file, then sends it: what was given out can be proved and built again.
func (s *Site) sendReport(r *Request, f *madeFile) error {
	form := reportForms[f.form]
	err := s.Reporting.IssueReport(r.Context(), r.act("issue a report", ""), f.report, f.proof, form.format, f.proved, f.content.Bytes())
	if err != nil {
		return err
	}
	return r.Send(f.name, form.mime, f.content.Bytes())
}

// reportFile names a file by report, plant and day.
func reportFile(report *reports.Report, plant string, f Format) string {
	day := report.AsOf.Day
	if day == "" {
		day = f.Today()
	}
	name := strings.Map(func(c rune) rune {
		if c >= 'a' && c <= 'z' || c >= '0' && c <= '9' {
			return c
		}
		return '-'
	}, strings.ToLower(plant))
	return report.Slug + "_" + name + "_" + string(day)
}

// fill reads the rows for the page. Customer and plant are the same in all of them and are left to the files.
func (p *reportPage) fill(r *Request, report *reports.Report) error {
	p.Report = report
	var shown []int
	status, stands := -1, map[string]int{}
	for i, c := range report.Columns {
		if c.Key == "status" {
			status = i
		}
		if c.Key != "customer" && c.Key != "plant" {
			shown = append(shown, i)
			p.Columns = append(p.Columns, c)
		}
	}
	n := 0
	for row, err := range report.Rows(r.Context()) {
		if err != nil {
			return fmt.Errorf("read report %s: %w", report.Slug, err)
		}
		if status >= 0 {
			stands[row[status].Plain()]++
		}
		if n++; n > mostPreviewRows {
			p.Left++
			continue
		}
		cells := make([]reports.Cell, len(shown))
		for k, i := range shown {
			cells[k] = row[i]
		}
		p.Rows = append(p.Rows, cells)
	}
	p.Say, p.Sub = reportSay(report.Title, n, stands), report.Question+" As of "+report.AsOf.Words()+", "+report.Scope+"."
	if _, known := report.Asked(); known != "" {
		p.Sub = fullStop(strings.TrimSuffix(p.Sub, ".") + ", " + knownWords(r.F, known))
	}
	p.Take = &takePart{To: r.At("reports", report.Slug)}
	for _, name := range askedFields {
		p.Take.Asked = append(p.Take.Asked, Option{Label: name, Value: p.Form.Value(name)})
	}
	for _, form := range reportForms {
		p.Take.Forms = append(p.Take.Forms, Option{Value: form.format, Label: form.words})
	}
	return nil
}

// reportSay is the headline: how many rows, and what the worst of them come to.
func reportSay(title string, n int, stands map[string]int) string {
	if n == 0 {
		return title + ": nothing was there then"
	}
	var says []string
	for _, band := range due.Bands {
		if rows := stands[string(band)]; rows > 0 && len(says) < 2 {
			says = append(says, Int(int64(rows))+" "+bandWords(band))
		}
	}
	say := title + ": " + Figure(n, "row", "rows")
	if len(says) > 0 {
		say += ", " + List(says)
	}
	return say
}

// bandWords puts a step of the ramp behind a number: "6 at 80 to 100 %".
func bandWords(b due.Band) string {
	if b[0] >= '0' && b[0] <= '9' {
		return "at " + string(b)
	}
	return string(b)
}

// Wide is the class of a column by what stands in it.
func (p *reportPage) Wide(c reports.Column) string {
	switch {
	case c.WidthCh >= 20:
		return "wl"
	case c.WidthCh >= 12:
		return "wm"
	}
	return "ws"
}

// Numeric tells whether a column stands to the right.
func (p *reportPage) Numeric(c reports.Column) bool {
	return c.Kind == reports.KindInteger || c.Kind == reports.KindNumber
}
