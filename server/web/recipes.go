package web

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"slices"

	"carryside/assets"
	"carryside/assets/enclosure"
	"carryside/assets/unit"
	"carryside/schedule/people"
	"carryside/schedule/press"
	"carryside/server/web/drawing"
)

// Pressing is the recipes of the company and the press records of a plant's splices.
type Pressing interface {
	// Recipes lists the newest edition of each, by name, withdrawn ones too.
	Recipes(ctx context.Context) ([]assets.Recipe, error)
	// Editions lists every edition of one, newest first; assets.ErrNotFound when there is none.
	Editions(ctx context.Context, id int64) ([]assets.Recipe, map[int64]string, error)
	// SaveRecipe adds a recipe (ID 0) or its next edition.
	SaveRecipe(ctx context.Context, act Act, r *assets.Recipe) error
	// Pressed lists the splices of a plant that were pressed, newest first.
	Pressed(ctx context.Context, scope assets.Scope, f PressFilter) ([]PressedSplice, error)
	// PressRecord returns one with its names; assets.ErrNotFound outside the scope.
	PressRecord(ctx context.Context, scope assets.Scope, id int64) (PressFile, error)
	// KeepPress keeps a record that was judged and, where a figure is outside, raises the early inspection by today.
	KeepPress(ctx context.Context, scope assets.Scope, act Act, r *assets.PressRecord, today assets.Day) error
	// WithdrawPress takes a record back that was entered in error.
	WithdrawPress(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64) error
}

// PressFilter narrows press records to a plant, and in it to a recipe, a splice or an order; 0: any.
type PressFilter struct{ PlantID, RecipeID, SpliceID, OrderID int64 }

// PressedSplice is a splice with the record of how it was pressed.
type PressedSplice struct {
	Record assets.PressRecord
	Tag    string
	Splice assets.Splice
	By     string
}

// PressFile is a press record with what it names.
type PressFile struct {
	Record   assets.PressRecord
	FollowUp int64 // number of the order it raised; 0: none
	Order    int64 // number of the order it was made for
	People   map[int64]string
}

// recipeQuantities are the figures of a recipe as forms take and pages show them.
var recipeQuantities = func() []catalogueQuantity {
	fields := map[string]*unit.Field{"degC": &unit.Heat, "K": &unit.HeatStep, "K/min": &unit.HeatRate, "Pa": &unit.PlatePress}
	out := make([]catalogueQuantity, len(press.Quantities))
	for i, q := range press.Quantities {
		out[i] = catalogueQuantity{q.Name, q.Words, q.Unit, fields[q.Unit]}
	}
	return out
}()

// recipesPage answers: which recipes are there, for which splices, and how did the cycles made with each come out?
type recipesPage struct {
	Page
	Rows []recipeRow
}

type recipeRow struct {
	Name, To, For, Thick, Edition, Made, Outside string
	Withdrawn                                    bool
}

func (s *Site) recipes(r *Request) error {
	all, err := s.Pressing.Recipes(r.Context())
	if err != nil {
		return err
	}
	made, err := s.Pressing.Pressed(r.Context(), r.Scope, PressFilter{PlantID: r.PlantID()})
	if err != nil {
		return err
	}
	p := &recipesPage{}
	p.Sheet = "Recipes"
	p.Say = Capital(Count(len(all), "recipe is", "recipes are")) + " kept"
	if len(all) == 0 {
		p.Say = "No recipe is kept yet, so no press cycle can be judged"
	}
	p.Sub = "How splices are pressed, the same for every plant. A change makes a new version; each splice keeps the one it was made with."
	r.Offer(&p.Page, "New recipe", "recipes/new", true)
	for _, rc := range all {
		n, out := 0, 0
		for _, m := range made {
			if m.Record.RecipeID == rc.ID {
				n++
				out += count(m.Record.Verdict == string(press.Outside))
			}
		}
		p.Rows = append(p.Rows, recipeRow{Name: rc.Name, To: r.At("recipes", rc.ID), For: r.recipeFor(rc), Thick: r.thickWords(rc), Edition: fmt.Sprint(rc.Edition) + " of " + r.F.Date(rc.SavedAt),
			Made: fmt.Sprint(n), Outside: fmt.Sprint(out), Withdrawn: rc.Withdrawn})
	}
	return r.Show("recipes", p)
}

func count(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

func (r *Request) recipeFor(rc assets.Recipe) string { return assets.KindWords(rc.Form, rc.Bond) }

// thickWords is how thick splices are that a recipe is for.
func (r *Request) thickWords(rc assets.Recipe) string {
	switch {
	case rc.ThinnestM != nil && rc.ThickestM != nil:
		return r.F.Thickness(*rc.ThinnestM) + " to " + r.F.Thickness(*rc.ThickestM) + " thick"
	case rc.ThinnestM != nil:
		return r.F.Thickness(*rc.ThinnestM) + " and thicker"
	case rc.ThickestM != nil:
		return "up to " + r.F.Thickness(*rc.ThickestM) + " thick"
	}
	return "any thickness"
}

// recipePage answers: what does this recipe allow, since when, and how have the splices made with each version done?
type recipePage struct {
	Page
	Plot      template.HTML
	Figures   []recipeFigure
	Before    string // what the version before is called; "": there is none
	Versions  []versionRow
	Made      []madeRow
	MadeSays  string
	Cautions  []string
	Withdrawn bool
}

type recipeFigure struct {
	Words, Now, Before, Class, Source string
	Changed                           bool
}

type versionRow struct {
	Edition, From, By, Changed            string
	Made, Failed, Running, Outside, Other int
	Newest                                bool
}

type madeRow struct {
	Name, To, Made, By, Cycle, CycleTo string
	Verdict                            string
	Edition                            int64
}

func (s *Site) recipe(r *Request) error {
	id, err := r.ID("recipe")
	if err != nil {
		return err
	}
	editions, names, err := s.Pressing.Editions(r.Context(), id)
	if err != nil {
		return err
	}
	made, err := s.Pressing.Pressed(r.Context(), r.Scope, PressFilter{PlantID: r.PlantID(), RecipeID: id})
	if err != nil {
		return err
	}
	now := editions[0]
	p := &recipePage{Cautions: pressCautions, Withdrawn: now.Withdrawn}
	p.Sheet = "Recipe " + now.Name
	p.Versions, p.Made = r.versionRows(editions, made, names), r.madeRows(made)
	p.MadeSays = fmt.Sprintf("Made with it at this plant, %d", len(made))
	p.Say = recipeSay(now, p.Versions[0])
	p.Sub = Capital(r.recipeFor(now)) + ", " + r.thickWords(now) + ". A change makes a new version; each splice keeps the one it was made with."
	var before *assets.Recipe
	if len(editions) > 1 {
		before, p.Before = &editions[1], fmt.Sprintf("Version %d", editions[1].Edition)
	}
	p.Figures, p.Plot = r.recipeFigures(now, before), r.allowedPlot(now, before)
	r.Offer(&p.Page, "Draft version "+fmt.Sprint(now.Edition+1), "recipes/:recipe/edit", true, now.ID)
	return r.Show("recipe", p)
}

// drawnFromC is the temperature at which the drawing of a recipe begins: a cold press in a hall.
const drawnFromC = 20.0

// allowedPlot draws what a recipe allows; nothing where its figures contradict each other.
func (r *Request) allowedPlot(now assets.Recipe, before *assets.Recipe) template.HTML {
	by, err := press.FromValues(now.Values)
	if err != nil {
		return ""
	}
	heat := scale(unit.Heat, 1, r.F.Units)
	set := min(by.SetTopC, by.SetBottomC)
	a := drawing.Allowed{HeatSign: unit.Heat.Sign(r.F.Units), Ambient: heat(drawnFromC), Set: heat(set), Tolerance: unit.HeatStep.In(by.ToleranceK, r.F.Units),
		Fastest: (set - drawnFromC) / by.HeatingRate.Max, DwellLeast: by.Dwell.Min, DwellMost: by.Dwell.Max, CoolMost: by.CoolingMax, WholeMax: by.DurationMax, Release: heat(by.ReleaseMaxC), Before: by.Dwell.Min}
	a.Slowest = max(a.Fastest, by.TimeToTempMax)
	a.Sentence = fmt.Sprintf("Allowed region of the press cycle of recipe %s, version %d: dwell %s at %s, opened at %s", now.Name, now.Edition,
		r.F.allowedWords(by, press.DwellTime), unit.Heat.Show(set, r.F.Units), r.F.allowedWords(by, press.ReleaseTemp))
	if before != nil {
		if was, err := press.FromValues(before.Values); err == nil {
			a.Before, a.BeforeSays = was.Dwell.Min, fmt.Sprintf("version %d could end here: %s", before.Edition, With(Short(was.Dwell.Min, 1), "min"))
		}
	}
	return drawing.OfAllowed(a)
}

func recipeSay(now assets.Recipe, v versionRow) string {
	say := fmt.Sprintf("Recipe %s: version %d is in use", now.Name, now.Edition)
	if now.Withdrawn {
		say = fmt.Sprintf("Recipe %s is withdrawn: no splice is made with it any more", now.Name)
	}
	switch {
	case v.Made == 0:
		return say + "; no splice of this plant is recorded with it yet"
	case v.Failed == 0:
		return say + "; of " + Count(v.Made, "splice", "splices") + " made with it none has failed, " + outsideWords(v.Outside)
	}
	return say + "; of " + Count(v.Made, "splice", "splices") + " made with it " + Figure(v.Failed, "has failed", "have failed") + ", " + outsideWords(v.Outside)
}

func outsideWords(n int) string {
	if n == 0 {
		return "none was pressed outside it"
	}
	return Count(n, "was pressed outside it", "were pressed outside it")
}

func (r *Request) recipeFigures(now assets.Recipe, before *assets.Recipe) []recipeFigure {
	var out []recipeFigure
	for _, q := range recipeQuantities {
		v, there := assets.ValueOf(now.Values, q.Name)
		f := recipeFigure{Words: Capital(q.Words), Now: "not asked", Before: "none", Class: string(v.Class), Source: v.Source}
		if there {
			f.Now = r.F.shownAs(q, v.Value)
		}
		if before != nil {
			was, had := assets.ValueOf(before.Values, q.Name)
			f.Before, f.Changed = "the same", had != there || was.Value != v.Value
			if f.Changed {
				f.Before = "not asked"
			}
			if f.Changed && had {
				f.Before = r.F.shownAs(q, was.Value)
			}
			if !there && !had {
				continue
			}
		} else if !there {
			continue
		}
		out = append(out, f)
	}
	return out
}

// shownAs is a stored figure with its unit.
func (f Format) shownAs(q catalogueQuantity, v float64) string {
	if q.Field != nil {
		return q.Field.Show(v, f.Units)
	}
	return With(Short(v, 2), q.Unit)
}

func (r *Request) versionRows(editions []assets.Recipe, made []PressedSplice, names map[int64]string) []versionRow {
	out := make([]versionRow, len(editions))
	for i, e := range editions {
		v := versionRow{Edition: fmt.Sprint(e.Edition), From: r.F.Date(e.SavedAt), By: orNotKnown(names[e.SavedBy]), Changed: pick(e.Changed == "", "the first version", e.Changed), Newest: i == 0}
		for _, m := range made {
			if m.Record.Edition != e.Edition {
				continue
			}
			v.Made++
			v.Failed += count(m.Splice.RetiredWhy == assets.RetiredFailed)
			v.Running += count(m.Splice.Ended == nil)
			v.Outside += count(m.Record.Verdict == string(press.Outside))
			v.Other += count(m.Record.Verdict == string(press.CannotJudge))
		}
		out[i] = v
	}
	return out
}

func (r *Request) madeRows(made []PressedSplice) []madeRow {
	var out []madeRow
	for _, m := range made {
		out = append(out, madeRow{Name: m.Tag + " splice " + m.Splice.Number, To: r.At("splices", m.Splice.ID), Made: r.F.Date(m.Record.PressedAt), By: orNotKnown(m.By),
			Cycle: r.cycleWords(m.Record), CycleTo: r.At("press", m.Record.ID), Verdict: m.Record.Verdict, Edition: m.Record.Edition})
	}
	return out
}

// cycleWords says a cycle's length and the first figure that is outside.
func (r *Request) cycleWords(rec assets.PressRecord) string {
	says := ""
	for _, f := range rec.Figures {
		if f.Name == press.Duration && f.Value != nil {
			says = With(Num(*f.Value, 0), "min")
		}
	}
	for _, f := range rec.Figures {
		if f.Verdict == string(press.Outside) {
			return joinWords(says, press.Words(f.Name)+" "+r.F.pressFigure(f))
		}
	}
	return pick(says == "", "no length recorded", says)
}

// pressFigure is a figure of a press record with its unit, as the plant reads it.
func (f Format) pressFigure(fig assets.PressFigure) string {
	if fig.Value == nil {
		return "no figure"
	}
	field, per, places := criterionUnit(fig.Name)
	if field == nil {
		return With(Num(*fig.Value, places), "min")
	}
	return field.Show(*fig.Value*per, f.Units)
}

// criterionUnit is the field in which a criterion is shown, what its figure is multiplied with to be stored so, and the decimals of
// one without field: minutes.
func criterionUnit(name string) (field *unit.Field, per float64, places int) {
	switch name {
	case press.HeatingRateTop, press.HeatingRateBottom:
		return &unit.HeatRate, 1, 0
	case press.Overshoot, press.SpreadInDwell:
		return &unit.HeatStep, 1, 0
	case press.ReleaseTemp:
		return &unit.Heat, 1, 0
	case press.PressureMin, press.PressureMax:
		return &unit.PlatePress, 100_000, 0
	}
	return nil, 1, 1
}

// allowedWords is what a recipe allows for a criterion.
func (f Format) allowedWords(by press.Recipe, name string) string {
	b, asked := by.Allowed(name)
	if !asked {
		return "not asked"
	}
	show := func(v float64) string { return f.pressFigure(assets.PressFigure{Name: name, Value: &v}) }
	switch {
	case math.IsInf(b.Min, -1):
		return show(b.Max) + " or less"
	case math.IsInf(b.Max, 1):
		return show(b.Min) + " or more"
	}
	return show(b.Min) + " to " + show(b.Max)
}

// pressCautions are the usual cautions at a press, in the words of the trade.
var pressCautions = []string{
	"Platens, pads and the fresh splice burn: heat gloves until the release temperature, also after opening.",
	"A press under pressure can throw a hose or a bolt: nobody beside the frame while it builds pressure; release it before loosening anything.",
	"Supply through a residual-current device, leads off the wet floor, nobody works alone.",
	"Fumes of hot polymer and solvent: ventilate, no ignition source; in food areas keep the plant's hygiene rules.",
	"The maker's instruction for this belt and this press, site rules and local codes come first; a qualified person decides. This page never says that a conveyor is safe to run.",
}

// editRecipe answers: what does the next version of this recipe allow, and why is it changed?
func (s *Site) editRecipe(r *Request) error {
	rc := assets.Recipe{}
	if r.C.Param("recipe") != "" {
		id, err := r.ID("recipe")
		if err != nil {
			return err
		}
		editions, _, err := s.Pressing.Editions(r.Context(), id)
		if err != nil {
			return err
		}
		rc = editions[0]
	}
	specs, err := s.Catalogues.Specifications(r.Context())
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(rc.ID == 0, "Keep the recipe", fmt.Sprintf("Make it version %d", rc.Edition+1)), Leave: r.At("recipes"), Cautions: pressCautions}
		p.Sheet, p.Say = "Recipe", pick(rc.ID == 0, "Add a recipe", fmt.Sprintf("Draft version %d of recipe %s", rc.Edition+1, rc.Name))
		f.version(rc.Version)
		p.section("What it is for", f.Text("name", "Name", rc.Name).Must(), f.Select("form", "Form of the splice", string(rc.Form), choices("", assets.Forms, formWords)).Must(),
			f.Select("bond", "Bond", string(rc.Bond), choices("", assets.Bonds, bondWords)).Must(),
			f.Optional("thinnest_m", "Thinnest splice", unit.Thickness, rc.ThinnestM, assets.AsTyped{}), f.Optional("thickest_m", "Thickest splice", unit.Thickness, rc.ThickestM, assets.AsTyped{}))
		var belts []*Field
		for _, sp := range specs {
			belts = append(belts, f.Tick("spec_"+plainInt(sp.ID), sp.Name, slices.Contains(rc.Specifications, sp.ID)))
		}
		if len(belts) > 0 {
			p.section("Belts it is for; none ticked: any", belts...)
		}
		p.recipeRows(rc)
		if rc.ID != 0 {
			p.section("", f.Area("changed", "What this version changes, and why", "").Must().OverBoth(), f.Tick("withdrawn", "Withdrawn: no splice is made with it any more", rc.Withdrawn))
		}
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := rc
		next.RowID, next.Name = e.rowID(), e.must("name", "the recipe's name")
		next.Form, next.Bond = oneOf(e, "form", "choose a form from the list", assets.Forms...), oneOf(e, "bond", "choose a bond from the list", assets.Bonds...)
		next.ThinnestM, next.ThickestM = e.optional("thinnest_m", unit.Thickness), e.optional("thickest_m", unit.Thickness)
		next.Specifications = nil
		for _, sp := range specs {
			if e.f.Ticked("spec_" + plainInt(sp.ID)) {
				next.Specifications = append(next.Specifications, sp.ID)
			}
		}
		next.Changed, next.Withdrawn = e.text("changed"), e.f.Ticked("withdrawn")
		at := e.recipeValues(&next)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Pressing.SaveRecipe(r.Context(), r.act("keep the recipe "+next.Name, next.Changed), &next)
		return r.At("recipes", next.ID), fmt.Sprintf("Recipe %s kept, version %d.", next.Name, next.Edition), renamed(err, at)
	})
}

// recipeRows is the table of a recipe's figures: every one has its row, so that none is forgotten.
func (p *formPage) recipeRows(rc assets.Recipe) {
	f := p.Form
	p.RowsAt = len(p.Sections)
	p.Rows = &formRows{Head: "Figures", Stack: true, Columns: []string{"Figure", "Value", "Class", "Source"},
		Hint: "Class A: the maker's chart for this belt; B: a handbook; C: this plant's own history; P: your own decision; D: a rule of thumb. The last five may be left empty."}
	for i, q := range recipeQuantities {
		v, there := assets.ValueOf(rc.Values, q.Name)
		value, class := "", string(assets.ClassP)
		if there {
			class = string(v.Class)
			value = plainNumber(v.Value)
			if q.Field != nil {
				value = q.Field.Entry(v.Value, "", f.Plain.Units)
			}
		}
		name := func(part string) string { return fmt.Sprintf("v%d_%s", i, part) }
		f.Hidden(name("quantity"), q.Name)
		p.Rows.Rows = append(p.Rows.Rows, []*Field{
			{Kind: "words", Name: name("words"), Value: q.Words + ", " + q.sign(f.Plain.Units), Wide: true},
			f.Number(name("value"), q.Words, value, ""),
			f.Select(name("class"), "class of "+q.Words, class, choices("", assets.Classes, func(c assets.Class) string { return string(c) })),
			f.Text(name("source"), "source of "+q.Words, v.Source).OverBoth()})
	}
}

// recipeValues reads the table, and where each figure stands, for the messages of the storage.
func (e *entry) recipeValues(next *assets.Recipe) map[string]string {
	at := map[string]string{}
	next.Values = nil
	for i, q := range recipeQuantities {
		name := func(part string) string { return fmt.Sprintf("v%d_%s", i, part) }
		at["values."+q.Name] = name("value")
		if e.text(name("value")) == "" {
			continue
		}
		v := assets.CatalogueValue{Quantity: q.Name, Unit: q.Unit, Class: oneOf(e, name("class"), "choose the class of evidence", assets.Classes...), Source: e.text(name("source"))}
		if q.Field != nil {
			v.Value = e.quantity(name("value"), *q.Field)
		} else {
			v.Value = e.number(name("value"))
		}
		if of := press.Quantities[i]; e.bad[name("value")] == "" && !(v.Value >= of.Least && v.Value <= of.Most) {
			e.bad.Add(name("value"), fmt.Sprintf("%s: give a value from %s to %s", of.Words, q.shown(of.Least, e.r.F), q.shown(of.Most, e.r.F)))
		}
		next.Values = append(next.Values, v)
	}
	return at
}

// shown is a figure as the plant reads it.
func (q catalogueQuantity) shown(v float64, f Format) string {
	if q.Field == nil {
		return With(Short(v, 1), q.Unit)
	}
	return q.Field.Show(v, f.Units)
}

// pressRoutes are the addresses of recipes and press records.
func pressRoutes() []Route {
	var out []Route
	add := func(may people.Deed, under, back, path string, do func(*Site, *Request) error, body int64, methods ...string) {
		for _, m := range methods {
			out = append(out, Route{Method: m, Path: "/plants/:plant/" + path, May: may, Under: under, Back: back, Do: do, Body: body})
		}
	}
	add(people.Read, "orders", "recipes", "recipes", (*Site).recipes, 0, get)
	add(people.Read, "orders", "recipes", "recipes/:recipe", (*Site).recipe, 0, get)
	add(people.EditCatalogues, "orders", "recipes", "recipes/new", (*Site).editRecipe, 0, get, post)
	add(people.EditCatalogues, "orders", "recipes", "recipes/:recipe/edit", (*Site).editRecipe, 0, get, post)
	add(people.DoJob, "belts", "belts", "splices/:splice/press", (*Site).newPress, enclosure.MaxBytes+1<<20, get, post)
	add(people.Read, "belts", "belts", "press/:record", (*Site).pressRecord, 0, get)
	add(people.EditRegister, "belts", "belts", "press/:record/withdraw", (*Site).withdrawPress, 0, get, post)
	return out
}
