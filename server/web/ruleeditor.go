package web

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"html/template"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/rules"
	"carryside/server/problem"
	"carryside/server/web/drawing"
)

// ruleEditor answers: what would this rule have raised over the last year, and what will it raise in the
// next? It shows that before saving is offered.
type ruleEditor struct {
	Page
	Form     *ruleForm
	Rule     rules.Rule
	New      bool
	Shown    string // fingerprint of what the figures are of; "": nothing shown yet
	Stands   string // the trigger as it stands, in words
	Edited   string
	Raises   string // orders or reminders
	AtOnce   string // what saving raises at once, a sentence
	Strip    template.HTML
	Hidden   int // targets that are only in the table
	Sums     []ruleSum
	Rows     []ruleRow
	Targets  string
	Elsewise string // why it cannot be saved here
}

type ruleSum struct{ Year, Stands, Edited, Difference string }

type ruleRow struct {
	Name, From, Until                          string
	StandsLast, EditedLast, StandsNext, EdNext string
}

// mostStripRows is how many targets the strip draws; the table has them all.
const mostStripRows = 40

// newRule makes a rule of this plant.
func (s *Site) newRule(r *Request) error {
	start := rules.Rule{PlantID: r.PlantID(), CustomerID: r.Plant.Plant.CustomerID, Class: assets.ClassP,
		Trigger:  rules.Trigger{Kind: rules.TriggerInterval, Every: 4, Unit: "week", CountedFrom: rules.FromPlan, AnchorDay: r.F.Today(), TimeOfDay: "06:00"},
		Template: rules.Template{Kind: "inspection", Title: "inspect {target}", LatestDays: 7, WorkHours: 0.5, Crew: 1}}
	return s.editing(r, start, nil)
}

// editRule edits a rule; it keeps its number and raises nothing planned before now.
func (s *Site) editRule(r *Request) error {
	id, err := r.ID("rule")
	if err != nil {
		return err
	}
	rule, err := s.RuleBook.RuleOf(r.Context(), r.Scope, r.PlantID(), id)
	if err != nil {
		return err
	}
	return s.editing(r, rule, &rule)
}

func (s *Site) editing(r *Request, start rules.Rule, stands *rules.Rule) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	p := &ruleEditor{Form: newRuleForm(r.NewForm(), start, reg), Rule: start, New: stands == nil}
	if !r.mayReach(start) {
		p.Elsewise = "This rule is for " + reachWords(start) + ": changing it takes a grant for all of them. You can look at what an edit would raise here."
	}
	edited, status, e := start, error(nil), (*entry)(nil)
	if r.Posted() {
		e = r.entry(p.Form.Form)
		edited = e.rule(start, reg)
		if status = e.Err(); status == nil {
			edited, status = rules.Save(edited, stands, r.Who.Person.ID, r.Now)
			status = renamed(status, e.ruleNames(edited.Trigger.Kind))
		}
	}
	look, err := s.RuleBook.Outlook(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	switch {
	case status == nil:
		r.showRule(p, look, stands, edited)
	case stands != nil: // what is refused may plan anything, each minute as well: it is not worked out
		r.showRule(p, look, stands, *stands)
	default:
		p.Sheet, p.Sub = "Rule", r.ruleSub(nil)
	}
	if p.Form.Refused(status) {
		p.Shown, p.Say = "", "This rule cannot be worked out yet: mend what is marked"
		return r.Refill("rule", p)
	}
	if e == nil || e.text("save") == "" && !r.C.Request.PostForm.Has("save") {
		if e == nil {
			p.Shown = "" // nothing is edited yet, so nothing is to be saved
		}
		return r.Show("rule", p)
	}
	return s.saveRule(r, p, edited)
}

// saveRule keeps a rule whose figures were on the page; what was changed after they were shown is shown first.
func (s *Site) saveRule(r *Request, p *ruleEditor, edited rules.Rule) error {
	if r.C.Request.PostForm.Get("shown") != p.Shown {
		p.Form.Whole = "The figures were of an earlier state of the form. They now show what you typed last: look at them, then save."
		return r.Refill("rule", p)
	}
	if p.Elsewise != "" {
		p.Form.Whole = p.Elsewise
		return r.Refill("rule", p)
	}
	edited.EditVersion = numberOf(p.Form.Value("version"))
	err := s.RuleBook.SaveRule(r.Context(), r.Scope, r.act(pick(p.New, "new rule ", "edit rule ")+edited.Name, ""), r.PlantID(), &edited)
	switch {
	case err == nil:
		return r.Done(r.At("rules"), "Rule '"+edited.Name+"' kept. "+p.AtOnce)
	case p.Form.Refused(err):
		return r.Refill("rule", p)
	case errors.Is(err, assets.ErrConflict):
		return &problem.Conflict{What: "Rule " + edited.Name, Again: r.C.Request.URL.RequestURI(), Fields: []problem.Side{
			{Name: "It raises", Yours: edited.Trigger.Words(), Theirs: p.Rule.Trigger.Words()}, {Name: "For", Yours: edited.Scope.Words(), Theirs: p.Rule.Scope.Words()}}}
	}
	return err
}

// fingerprint tells one state of the editor's form from another.
func (rf *ruleForm) fingerprint() string {
	h := sha256.New()
	for _, fd := range rf.Fields {
		value := fd.Value
		if fd.Kind == "select" && !slices.ContainsFunc(fd.Options, func(o Option) bool { return o.Chosen }) {
			value = fd.Options[0].Value // what a browser sends of a choice in which nothing is chosen
		}
		h.Write([]byte(fd.Name + "\x00" + value + "\x00"))
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// showRule fills the page with what the rule raises, as it stands and as edited.
func (r *Request) showRule(p *ruleEditor, look *rules.Outlook, stands *rules.Rule, edited rules.Rule) {
	pre := look.Preview(stands, edited)
	reminder := edited.Class == assets.ClassD
	p.Sheet, p.Shown = "Rule", p.Form.fingerprint()
	p.Edited, p.Raises = edited.Trigger.Words(), pick(reminder, "reminders", "orders")
	if stands != nil {
		p.Sheet, p.Stands = "Rule "+stands.Name, stands.Trigger.Words()
	}
	p.AtOnce = atOnceWords(pre.AtOnce, edited)
	p.Say, p.Sub = ruleSay(pre, stands, edited), r.ruleSub(stands)+" "+p.AtOnce
	p.Sums = []ruleSum{ruleSumOf("Last year", pre.Stands.LastYear, pre.Edited.LastYear, reminder, "would have been raised"),
		ruleSumOf("Next year", pre.Stands.NextYear, pre.Edited.NextYear, reminder, "at the running hours as they go today")}
	for _, row := range pre.Rows {
		p.Rows = append(p.Rows, r.ruleRow(row))
	}
	p.Strip, p.Hidden = r.strip(pre, p.Say)
	p.Targets = targetWords(look.Targets(edited))
}

func ruleSumOf(year string, stands, edited int, reminder bool, what string) ruleSum {
	return ruleSum{Year: year, Stands: raisedWords(stands, reminder), Edited: raisedWords(edited, reminder), Difference: moreOrLess(stands, edited) + ", " + what}
}

// ruleSay is the headline: the difference the edit makes, else what the rule raises.
func ruleSay(pre rules.Preview, stands *rules.Rule, edited rules.Rule) string {
	reminder := edited.Class == assets.ClassD
	next, soon := raisedWords(pre.Edited.NextYear, reminder), ""
	if pre.AtOnce > 0 {
		soon = raisedWords(pre.AtOnce, reminder) + " as soon as it is saved and "
	}
	switch {
	case edited.Off:
		return "Switched off, this rule raises nothing"
	case stands == nil:
		return "This rule will raise " + soon + next + " in the next year; in the last it would have raised " + Int(int64(pre.Edited.LastYear))
	case pre.Stands == pre.Edited:
		return edited.Name + ": " + soon + next + " in the next year"
	}
	return "As edited it raises " + soon + moreOrLess(pre.Stands.NextYear, pre.Edited.NextYear) + " in the next year: " + next + " instead of " + Int(int64(pre.Stands.NextYear))
}

// atOnceWords says what saving a rule raises at once: what is past its limit already, not what was planned before.
func atOnceWords(n int, edited rules.Rule) string {
	if n == 0 || edited.Off {
		return "It raises nothing that was planned before now."
	}
	return "It raises " + raisedWords(n, edited.Class == assets.ClassD) + " at once for what is past its limit already, and nothing else that was planned before now."
}

func (r *Request) ruleSub(stands *rules.Rule) string {
	if stands == nil {
		return "A new rule of this plant. Nothing changes until it is saved."
	}
	return "Rule for " + reachWords(*stands) + ", edit " + Int(stands.EditVersion) + ", looked at by " + r.Who.Person.Name + ". Nothing changes until it is saved."
}

func (r *Request) ruleRow(row rules.PreviewRow) ruleRow {
	date := func(t time.Time, open string) string {
		if t.IsZero() {
			return open
		}
		return r.F.PlainDay(assets.DayOf(t.Add(-time.Microsecond).In(r.F.zone()))) // the end of a day is of that day
	}
	sl, sn := strokesOf(row.Stands)
	el, en := strokesOf(row.Edited)
	return ruleRow{Name: row.Target.Name(), From: date(row.ScopeFrom, "all along"), Until: date(row.ScopeUntil, "beyond"), StandsLast: sl, StandsNext: sn, EditedLast: el, EdNext: en}
}

func strokesOf(all []rules.Stroke) (last, next string) {
	past := 0
	for _, s := range all {
		if s.Past {
			past++
		}
	}
	return Int(int64(past)), Int(int64(len(all) - past))
}

// strip draws the targets that raise something first, as many as fit.
func (r *Request) strip(pre rules.Preview, sentence string) (template.HTML, int) {
	rows := slices.Clone(pre.Rows)
	slices.SortStableFunc(rows, func(a, b rules.PreviewRow) int { return empty(a) - empty(b) })
	shown := min(len(rows), mostStripRows)
	y := drawing.YearStrip{Sentence: sentence + ". The same facts stand in the table below.", From: pre.From, To: pre.Until, Now: pre.Now, Zone: r.F.zone()}
	named := map[string]int{}
	for _, row := range pre.Rows {
		named[row.Target.Name()]++
	}
	for _, row := range rows[:shown] {
		sr := drawing.StripRow{Name: r.rowName(row, named), InFrom: row.ScopeFrom, InTo: row.ScopeUntil}
		stands := make(map[int64]bool, len(row.Stands))
		for _, st := range row.Stands {
			sr.Stands = append(sr.Stands, st.At)
			stands[st.At.UnixMicro()] = true
		}
		for _, st := range row.Edited {
			if !stands[st.At.UnixMicro()] {
				sr.Edits = append(sr.Edits, st.At)
			}
		}
		y.Rows = append(y.Rows, sr)
	}
	return drawing.OfYear(y), len(rows) - shown
}

// rowName tells a splice that has ended from the one that bears its mark now.
func (r *Request) rowName(row rules.PreviewRow, named map[string]int) string {
	name := row.Target.Name()
	if named[name] > 1 && !row.ScopeUntil.IsZero() {
		name += " to " + hard(row.ScopeUntil.In(r.F.zone()).Format("Jan 06"))
	}
	return name
}

// empty is 1 for a target for which nothing is raised.
func empty(row rules.PreviewRow) int {
	if len(row.Stands)+len(row.Edited) == 0 {
		return 1
	}
	return 0
}

// targetWords names what a rule looks at today.
func targetWords(targets []rules.Target) string {
	if len(targets) == 0 {
		return "Nothing is in scope today."
	}
	var names []string
	for _, t := range targets {
		if len(names) == 8 {
			names = append(names, Int(int64(len(targets)-8))+" more")
			break
		}
		names = append(names, t.Name())
	}
	return Capital(Int(int64(len(targets)))) + " in scope today: " + List(names) + "."
}
