package web

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/due"
	"carryside/schedule/people"
)

// Catalogues is what the pages of the company's catalogues need.
type Catalogues interface {
	Specifications(ctx context.Context) ([]assets.Specification, error)
	SpliceKinds(ctx context.Context) ([]assets.SpliceKind, error)
	// SaveSpecification adds one (ID 0), changes it from an instant on, or from 0 corrects it.
	SaveSpecification(ctx context.Context, act Act, s *assets.Specification, from assets.Instant) error
	SaveSpliceKind(ctx context.Context, act Act, k *assets.SpliceKind, from assets.Instant) error
}

// catalogueQuantity is a default that a catalogue may hold: its name in the register, its words, its unit.
type catalogueQuantity struct {
	Name, Words, Unit string      // Unit as stored
	Field             *unit.Field // how it is typed; nil: as stored
}

var specificationQuantities = []catalogueQuantity{
	{"thickness_m", "thickness", "m", &unit.Thickness}, {"mass_kg_per_m2", "mass per area", "kg/m2", &unit.AreaMass},
	{"working_tension_n_per_m", "working tension", "N/m", &unit.BeltTension}, {"min_pulley_m", "smallest pulley", "m", &unit.Diameter},
	{"min_back_bend_m", "smallest pulley in reverse bend", "m", &unit.Diameter}, {"min_temperature_c", "coldest product", "degC", &unit.Heat},
	{"max_temperature_c", "hottest product", "degC", &unit.Heat}, {"step_length_m", "length of a step", "m", &unit.Step},
	{"finger_pitch_m", "finger width", "m", &unit.Finger}, {"finger_length_m", "finger length", "m", &unit.Finger},
	{due.MinCoverThickness, "least cover left", "m", &unit.Thickness},
}

var kindQuantities = []catalogueQuantity{
	{"life_days", "usual life", "days", nil}, {"life_hours", "usual life", "h", nil}, {"life_passes", "usual life", "passes", nil},
	{"work_h", "work in the stop", "h", nil}, {"run_in_h", "run-in check after", "h", nil}, {"crew", "people", "people", nil},
	{due.PlannedStopH, "stop for a planned remake", "h", nil}, {due.UnplannedStopH, "stop after a failure", "h", nil},
	{due.MaxSpliceGap, "widest splice gap", "m", &unit.Opening}, {due.MaxHardness, "greatest hardness", "Shore A", nil},
}

// moneyQuantities are what a remake costs beside the stop.
var moneyQuantities = []catalogueQuantity{{due.LabourCost, "labour of a remake", "", nil}, {due.CallOutCost, "what labour costs more after a failure", "", nil}, {due.BeltCost, "belt and compound", "", nil}}

// kindQuantitiesIn are the defaults of a splice kind with those in money: in the company's currency, or in the one in which
// a value stands already.
func kindQuantitiesIn(currency string, values []assets.CatalogueValue) []catalogueQuantity {
	out := slices.Clone(kindQuantities)
	for _, q := range moneyQuantities {
		q.Unit = currency
		if v, ok := assets.ValueOf(values, q.Name); ok && v.Unit != "" {
			q.Unit = v.Unit
		}
		out = append(out, q)
	}
	return out
}

// withoutCosts leaves out what is told in money for those who may not read costs.
func (r *Request) withoutCosts(values []assets.CatalogueValue) []assets.CatalogueValue {
	if r.May(people.ReadCosts) {
		return values
	}
	return slices.DeleteFunc(slices.Clone(values), func(v assets.CatalogueValue) bool {
		return slices.ContainsFunc(moneyQuantities, func(q catalogueQuantity) bool { return q.Name == v.Quantity })
	})
}

// sign is the unit in which a default is typed and shown.
func (q catalogueQuantity) sign(u assets.UnitSystem) string {
	if q.Field == nil {
		return q.Unit
	}
	return q.Field.Sign(u)
}

func (f Format) catalogueValue(known []catalogueQuantity, v assets.CatalogueValue) string {
	for _, q := range known {
		if q.Name == v.Quantity && q.Field != nil {
			return q.Words + " " + q.Field.Show(v.Value, f.Units)
		} else if q.Name == v.Quantity {
			return q.Words + " " + With(Short(v.Value, 2), v.Unit)
		}
	}
	return v.Quantity + " " + With(Short(v.Value, 4), v.Unit)
}

// cataloguesPage answers: which belts and splice kinds does the company know, what does it take of each for
// granted, and on what evidence?
type cataloguesPage struct {
	Page
	Specs []catalogueLine
	Kinds []catalogueLine
}

type catalogueLine struct {
	Name, To, Family, Carcass, Allowed, Remark string
	Values                                     []valueLine
}

type valueLine struct{ Says, Class, Source string }

func (s *Site) catalogues(r *Request) error {
	specs, err := s.Catalogues.Specifications(r.Context())
	if err != nil {
		return err
	}
	kinds, err := s.Catalogues.SpliceKinds(r.Context())
	if err != nil {
		return err
	}
	p := &cataloguesPage{}
	p.Sheet = "Catalogues"
	p.Say = Capital(Count(len(specs), "belt specification", "belt specifications")) + " and " + Count(len(kinds), "splice kind", "splice kinds") + " are known to the company"
	p.Sub = "Each default has its unit, its class of evidence and its source; what a belt or splice says of itself comes first. The catalogues are the same for every plant."
	r.Offer(&p.Page, "New splice kind", "catalogues/kinds/new", false)
	r.Offer(&p.Page, "New specification", "catalogues/specifications/new", true)
	for _, sp := range specs {
		p.Specs = append(p.Specs, r.specLine(sp))
	}
	for _, k := range kinds {
		l := catalogueLine{Name: Capital(assets.KindWords(k.Form, k.Bond)), Remark: k.Remark, Values: r.valueLines(slices.Concat(kindQuantities, moneyQuantities), r.withoutCosts(k.Values))}
		if r.May(people.EditCatalogues) {
			l.To = r.At("catalogues/kinds", k.ID)
		}
		p.Kinds = append(p.Kinds, l)
	}
	return r.Show("catalogues", p)
}

func (r *Request) specLine(sp assets.Specification) catalogueLine {
	l := catalogueLine{Name: sp.Name, Family: sp.Family, Carcass: sp.Carcass, Remark: sp.Remark, Values: r.valueLines(specificationQuantities, sp.Values)}
	if sp.Plies > 0 {
		l.Carcass += ", " + Figure(sp.Plies, "ply", "plies")
	}
	if sp.GuideProfile != "" {
		l.Carcass += ", guide " + sp.GuideProfile
	}
	var allowed []string
	for _, k := range sp.SpliceKinds {
		allowed = append(allowed, assets.KindWords(k.Form, k.Bond))
	}
	l.Allowed = List(allowed)
	if r.May(people.EditCatalogues) {
		l.To = r.At("catalogues/specifications", sp.ID)
	}
	return l
}

func (r *Request) valueLines(known []catalogueQuantity, values []assets.CatalogueValue) []valueLine {
	var out []valueLine
	for _, v := range values {
		out = append(out, valueLine{Says: Capital(r.F.catalogueValue(known, v)), Class: string(v.Class), Source: v.Source})
	}
	return out
}

// valueRows is the table of defaults of a catalogue form.
func (p *formPage) valueRows(known []catalogueQuantity, values []assets.CatalogueValue) {
	f := p.Form
	n := f.rowCount(len(values))
	p.RowsAt = len(p.Sections)
	p.Rows = &formRows{Head: "Defaults", More: "More rows", Hint: "Class A: a maker's instruction or a standard for this belt; B: a handbook; P: your own decision; D: a rule of thumb. A and B need their source. Empty rows count for nothing.",
		Columns: []string{"Quantity", "Value", "Class", "Source"}}
	f.Hidden("rows", "").Value = plainInt(int64(n))
	for i := range n {
		var v assets.CatalogueValue
		if i < len(values) {
			v = values[i]
		}
		p.Rows.Rows = append(p.Rows.Rows, f.valueRow(i+1, known, v))
	}
}

func (f *Form) valueRow(i int, known []catalogueQuantity, v assets.CatalogueValue) []*Field {
	name := func(part string) string { return fmt.Sprintf("v%d_%s", i, part) }
	options, value := []Option{{Label: "none"}}, ""
	if v.Quantity != "" {
		value = plainNumber(v.Value)
	}
	for _, q := range known {
		options = append(options, Option{Value: q.Name, Label: q.Words + ", " + q.sign(f.Plain.Units)})
		if q.Name == v.Quantity && q.Field != nil {
			value = q.Field.Entry(v.Value, "", f.Plain.Units)
		}
	}
	if v.Quantity != "" && !slices.ContainsFunc(known, func(q catalogueQuantity) bool { return q.Name == v.Quantity }) {
		options = append(options, Option{Value: v.Quantity, Label: v.Quantity + ", " + v.Unit})
		f.Hidden(name("unit"), v.Unit)
	}
	class := string(v.Class)
	if class == "" {
		class = string(assets.ClassD)
	}
	return []*Field{
		f.Select(name("quantity"), fmt.Sprintf("quantity %d", i), v.Quantity, options), f.Number(name("value"), fmt.Sprintf("value %d", i), value, ""),
		f.Select(name("class"), fmt.Sprintf("class %d", i), class, choices("", assets.Classes, func(c assets.Class) string { return string(c) })),
		f.Text(name("source"), fmt.Sprintf("source %d", i), v.Source),
	}
}

// values reads the table of defaults, and where each stands, for the messages of the storage.
func (e *entry) values(known []catalogueQuantity) (values []assets.CatalogueValue, at map[string]string) {
	at = map[string]string{}
	for i := 1; i <= e.f.sentRows(); i++ {
		name := func(part string) string { return fmt.Sprintf("v%d_%s", i, part) }
		quantity := e.text(name("quantity"))
		if quantity == "" {
			if e.text(name("value")) != "" {
				e.bad.Add(name("quantity"), "say what this value is of")
			}
			continue
		}
		if at["values."+quantity] != "" {
			e.bad.Add(name("quantity"), "this quantity stands above already")
		}
		at["values."+quantity] = name("quantity")
		values = append(values, e.catalogueValue(known, quantity, name))
	}
	return values, at
}

func (e *entry) catalogueValue(known []catalogueQuantity, quantity string, name func(string) string) assets.CatalogueValue {
	v := assets.CatalogueValue{Quantity: quantity, Unit: e.text(name("unit")), Class: oneOf(e, name("class"), "choose the class of evidence", assets.Classes...), Source: e.text(name("source"))}
	e.must(name("value"), "the value")
	i := slices.IndexFunc(known, func(q catalogueQuantity) bool { return q.Name == quantity })
	if i >= 0 {
		v.Unit = known[i].Unit
	}
	if i >= 0 && known[i].Field != nil {
		v.Value = e.quantity(name("value"), *known[i].Field)
	} else {
		v.Value = e.number(name("value"))
	}
	if (v.Class == assets.ClassA || v.Class == assets.ClassB) && v.Source == "" {
		e.bad.Add(name("source"), "name the source: class A and B rest on one")
	}
	return v
}

// editSpecification adds or changes a belt specification.
func (s *Site) editSpecification(r *Request) error {
	specs, err := s.Catalogues.Specifications(r.Context())
	if err != nil {
		return err
	}
	kinds, err := s.Catalogues.SpliceKinds(r.Context())
	if err != nil {
		return err
	}
	sp := assets.Specification{}
	if text := r.C.Param("spec"); text != "" {
		i := slices.IndexFunc(specs, func(x assets.Specification) bool { return x.ID == numberOf(text) })
		if i < 0 {
			return assets.ErrNotFound
		}
		sp = specs[i]
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the specification", Leave: r.At("catalogues")}
		p.Sheet, p.Say = "Specification", pick(sp.ID == 0, "Add a belt specification", "Change the specification "+sp.Name)
		f.version(sp.Version)
		p.section("The belt", f.Text("name", "Name", sp.Name).Must().Hinted("As it is ordered, e.g. EP 1000/4 6+3"), f.Text("family", "Family", sp.Family).Hinted("RB-EP, RB-NN, RB-ST, LT-PVC, LT-PU, LT-TPE: rules look at it"),
			f.Text("carcass", "Carcass", sp.Carcass), f.Number("plies", "Plies", plainWhole(sp.Plies), ""), f.Text("guide_profile", "Guide or profile", sp.GuideProfile))
		var allowed []*Field
		for _, k := range kinds {
			allowed = append(allowed, f.Tick("kind_"+plainInt(k.ID), Capital(assets.KindWords(k.Form, k.Bond)), slices.Contains(sp.SpliceKinds, assets.KindPair{Form: k.Form, Bond: k.Bond})))
		}
		if len(allowed) > 0 {
			p.section("Splice kinds allowed in it", allowed...)
		}
		p.valueRows(specificationQuantities, sp.Values)
		p.catalogueFrom(sp.ID, sp.Remark)
		return p, nil
	}, func(p *formPage, e *entry) (string, string, error) {
		next := sp
		next.RowID, next.Name, next.Family, next.Carcass = e.rowID(), e.must("name", "the specification's name"), e.text("family"), e.text("carcass")
		next.Plies, next.GuideProfile, next.Remark = e.whole("plies", 0, 20), e.text("guide_profile"), e.text("remark")
		next.SpliceKinds = nil
		for _, k := range kinds {
			if e.f.Ticked("kind_" + plainInt(k.ID)) {
				next.SpliceKinds = append(next.SpliceKinds, assets.KindPair{Form: k.Form, Bond: k.Bond})
			}
		}
		var at map[string]string
		next.Values, at = e.values(specificationQuantities)
		from := e.catalogueFrom(sp.ID)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if sp.ID != 0 && !slices.Equal(sp.Values, next.Values) {
			if err := s.askFirst(r, p, LifeChange{Specification: &next}); err != nil {
				return "", "", err
			}
		}
		err := s.Catalogues.SaveSpecification(r.Context(), r.act("keep the specification "+next.Name, e.text("reason")), &next, from)
		return r.At("catalogues"), "Specification " + next.Name + " kept.", renamed(err, at)
	})
}

// editSpliceKind adds or changes a splice kind.
func (s *Site) editSpliceKind(r *Request) error {
	kinds, err := s.Catalogues.SpliceKinds(r.Context())
	if err != nil {
		return err
	}
	k := assets.SpliceKind{}
	if text := r.C.Param("kind"); text != "" {
		i := slices.IndexFunc(kinds, func(x assets.SpliceKind) bool { return x.ID == numberOf(text) })
		if i < 0 {
			return assets.ErrNotFound
		}
		k = kinds[i]
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	known := kindQuantitiesIn(cmp.Or(reg.Company.Currency, r.Plant.Plant.Currency), k.Values)
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the splice kind", Leave: r.At("catalogues")}
		p.Sheet, p.Say = "Splice kind", pick(k.ID == 0, "Add a splice kind", "Change what is taken for granted of: "+assets.KindWords(k.Form, k.Bond))
		f.version(k.Version)
		p.section("", f.Select("form", "Form", string(k.Form), choices("", assets.Forms, formWords)).Must(), f.Select("bond", "Bond", string(k.Bond), choices("", assets.Bonds, bondWords)).Must())
		p.valueRows(known, k.Values)
		p.catalogueFrom(k.ID, k.Remark)
		return p, nil
	}, func(p *formPage, e *entry) (string, string, error) {
		next := k
		next.RowID, next.Remark = e.rowID(), e.text("remark")
		next.Form = oneOf(e, "form", "choose a form from the list", assets.Forms...)
		next.Bond = oneOf(e, "bond", "choose a bond from the list", assets.Bonds...)
		var at map[string]string
		next.Values, at = e.values(known)
		from := e.catalogueFrom(k.ID)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if k.ID != 0 && !slices.Equal(k.Values, next.Values) {
			if err := s.askFirst(r, p, LifeChange{Kind: &next}); err != nil {
				return "", "", err
			}
		}
		err := s.Catalogues.SaveSpliceKind(r.Context(), r.act("keep a splice kind", e.text("reason")), &next, from)
		return r.At("catalogues"), Capital(assets.KindWords(next.Form, next.Bond)) + " kept.", renamed(err, at)
	})
}

// catalogueFrom ends a catalogue's form: remark, and from when a change holds.
func (p *formPage) catalogueFrom(id int64, remark string) {
	p.section("", p.Form.Area("remark", "Remark", remark).OverBoth())
	if id == 0 {
		return
	}
	p.section("", fromWhen(p.Form, ""))
	p.reason(false, "Needed for a correction")
}

func (e *entry) catalogueFrom(id int64) assets.Instant {
	if id == 0 {
		return 0
	}
	return e.changesFrom()
}
