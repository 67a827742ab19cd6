package api

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/people"
)

// report is a report of the catalogue.
type report struct {
	Name     string         `json:"name" doc:"its name in addresses"`
	Title    string         `json:"title"`
	Question string         `json:"question" doc:"what it answers"`
	Columns  []reportColumn `json:"columns" nullable:"false"`
}

// reportColumn is a column of a report.
type reportColumn struct {
	Key     string `json:"key" doc:"its name in the rows"`
	Heading string `json:"heading"`
	Unit    string `json:"unit,omitempty"`
	Kind    string `json:"kind" enum:"text,integer,number,date,instant"`
	Meaning string `json:"meaning"`
}

// reportDocument is a report as JSON: the same bytes as the file of that form.
type reportDocument struct {
	Report   string           `json:"report"`
	Title    string           `json:"title"`
	Question string           `json:"question"`
	AsOf     string           `json:"as_of" doc:"day it looks at; empty for the moment of building"`
	Built    time.Time        `json:"built_at"`
	By       string           `json:"generated_by"`
	Scope    string           `json:"scope" doc:"what it covers, in words"`
	Notes    []string         `json:"notes"`
	Columns  []reportColumn   `json:"columns"`
	Rows     []map[string]any `json:"rows" nullable:"false" doc:"a member for each column; empty cells are null"`
	Since    *correctionsTold `json:"corrections_since,omitempty" doc:"with known_at: what the report would say otherwise as known now. It stands apart: the rows and their digest are those of then"`
	Count    int              `json:"count"`
	Tally    []reportCount    `json:"tally" doc:"rows by what sums the report up"`
	Basis    []reportBasis    `json:"basis" doc:"what it rests on, with the places in the journals"`
	Digest   string           `json:"digest" doc:"SHA-256 over the rows"`
}

// correctionsTold is what was learned after known_at.
type correctionsTold struct {
	Columns []reportColumn      `json:"columns" nullable:"false"`
	Rows    []map[string]string `json:"rows" nullable:"false" doc:"one value each: then and now; with entered_at, entered_by, deed and reason where the token may read the journal of every plant covered"`
}

// reportCount is how many rows say the same.
type reportCount struct {
	Says string `json:"says"`
	Rows int    `json:"rows"`
}

// reportBasis is one thing a report rests on.
type reportBasis struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// reportQuery is which report, as of when, as known when, of what, in which form.
type reportQuery struct {
	Report string `path:"report" maxLength:"60" doc:"name of the report, such as splice-age"`
	AsOf   string `query:"as_of" maxLength:"40" doc:"the day it looks at, YYYY-MM-DD: its end in each plant's time zone; or an instant of RFC 3339. Without it, now"`
	Known  string `query:"known_at" maxLength:"40" doc:"as it was known then: what was entered later is left out. A day is its end in the company's time zone"`
	From   string `query:"from" maxLength:"40" doc:"first day of the period, YYYY-MM-DD in each plant's time zone; of a report that covers one (audit)"`
	To     string `query:"to" maxLength:"40" doc:"last day of the period"`
	Scope  string `query:"scope" maxLength:"400" doc:"customer=NAME,plant=NAME,line=NAME,conveyor=TAG, each part optional. Without it, everything the token reaches"`
	Format string `query:"format" enum:"json,csv,xlsx,html" default:"json" doc:"form of the file"`
}

// reportFile is a report as a file.
type reportFile struct {
	Type        string `header:"Content-Type"`
	Disposition string `header:"Content-Disposition"`
	Body        []byte
}

// forms are the forms a report is taken along in.
var forms = map[string]struct {
	mime  string
	write func(*reports.Report, context.Context, io.Writer) (reports.Proof, error)
}{
	"json": {"application/json", (*reports.Report).WriteJSON},
	"csv":  {"text/csv; charset=utf-8", (*reports.Report).WriteCSV},
	"xlsx": {"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", (*reports.Report).WriteXLSX},
	"html": {"text/html; charset=utf-8", (*reports.Report).WritePage},
}

func (s *service) reports(a huma.API) {
	huma.Register(a, read("list-reports", "/reports", "Reports", "The reports there are", ""), answer(s, s.listReports))
	op := read("get-report", "/reports/{report}", "Reports", "A report as of a day, as known on a day, as JSON or as a file", "The JSON holds all rows; its digest is taken over them.")
	schema := a.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[reportDocument](), true, "ReportDocument")
	content := map[string]*huma.MediaType{"application/json": {Schema: schema}}
	for _, other := range []string{"text/csv", forms["xlsx"].mime, "text/html"} {
		content[other] = &huma.MediaType{Schema: &huma.Schema{Type: "string", Format: "binary"}}
	}
	op.Responses = map[string]*huma.Response{"200": {Description: "OK", Content: content}}
	huma.Register(a, op, answer(s, s.getReport))
}

func (s *service) listReports(ctx context.Context, in *Paging) (*listed[report], error) {
	a := asking(ctx)
	open := slices.DeleteFunc(slices.Clone(reports.Catalogue), func(e reports.Entry) bool { return !a.MayAnywhere(e.Deed()) })
	slices.SortFunc(open, func(a, b reports.Entry) int { return strings.Compare(a.Slug, b.Slug) })
	return pageOf(open, func(e reports.Entry) string { return e.Slug }, *in, func(e reports.Entry) report {
		out := report{Name: e.Slug, Title: e.Title, Question: e.Question}
		for _, c := range e.Columns {
			out.Columns = append(out.Columns, reportColumn{c.Key, c.Heading, c.Unit, string(c.Kind), c.Meaning})
		}
		return out
	})
}

func (s *service) getReport(ctx context.Context, in *reportQuery) (*reportFile, error) {
	entry, err := reports.Find(in.Report)
	if err != nil {
		return nil, assets.ErrNotFound
	}
	if !asking(ctx).MayAnywhere(entry.Deed()) {
		return nil, fmt.Errorf("%s: %w", entry.Deed(), assets.ErrForbidden)
	}
	built, err := s.build(ctx, entry, in)
	if err != nil {
		return nil, inQuery(err)
	}
	form := forms[in.Format]
	var b bytes.Buffer // whole before a byte is sent: an error leaves no half of it
	if _, err := form.write(built, ctx, &b); err != nil {
		return nil, inQuery(err)
	}
	out := &reportFile{Type: form.mime, Body: b.Bytes()}
	if in.Format != "json" {
		out.Disposition = `attachment; filename="` + entry.Slug + "." + in.Format + `"`
	}
	return out, nil
}

func (s *service) build(ctx context.Context, entry reports.Entry, in *reportQuery) (*reports.Report, error) {
	a := asking(ctx)
	filter, err := reports.ParseFilter(in.Scope)
	if err != nil {
		return nil, err
	}
	inputs := reports.Inputs{Filter: filter, Period: reports.Period{From: assets.Day(in.From), To: assets.Day(in.To)}, Built: a.now, By: a.Person.Name, Version: s.ReportVersion()}
	if a.TokenName != "" {
		inputs.By += ", by the token " + a.TokenName
	}
	if inputs.Zone, err = s.ReportZone(ctx); err != nil {
		return nil, err
	}
	if inputs.Known, err = reports.NewKnownAt(in.Known, inputs.Zone); err != nil {
		return nil, err
	}
	inputs.Source = s.ReportsKnownAt(a.scopeFor(entry.Deed()), inputs.Known.At)
	covered, err := inputs.Covered(ctx)
	if err != nil {
		return nil, err
	}
	inputs.Corrections = reports.Explained
	for _, p := range covered {
		if !a.Who.May(people.ReadJournal, p.CustomerID, p.ID) {
			inputs.Corrections = reports.Told
		}
	}
	return entry.Build(ctx, inputs, assets.Day(in.AsOf))
}

// scopeFor is the plants at which the asker may do a deed.
func (a *asker) scopeFor(d people.Deed) assets.Scope {
	if d == people.Read {
		return a.Scope()
	}
	return assets.ScopeOf(slices.DeleteFunc(slices.Clone(a.Grants), func(g assets.Grant) bool { return !people.May(g.Role, d) }))
}

// inQuery calls what is wrong with a report by the names it has in the address.
func inQuery(err error) error {
	var bad assets.Invalid
	if !errors.As(err, &bad) {
		return err
	}
	names := map[string]string{"as-of": "query.as_of", "known-at": "query.known_at", "from": "query.from", "to": "query.to", "scope": "query.scope"}
	out := assets.Invalid{}
	for name, message := range bad {
		if renamed := names[name]; renamed != "" {
			name = renamed
		}
		out.Add(name, message)
	}
	return out
}
