package web

import (
	"fmt"
	"regexp"
	"strings"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/people"
)

// These forms answer: how do I put a conveyor into the register, change what is known of it, and end its use?

// newConveyor adds a conveyor.
func (s *Site) newConveyor(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Add the conveyor", Leave: r.At("belts")}
		p.Sheet, p.Say = "New conveyor", "Add a conveyor; its belt and splices come next"
		p.conveyorFields(reg, assets.Conveyor{}, r.May(people.ReadCosts))
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		c := assets.Conveyor{PlantID: r.PlantID(), Status: assets.ConveyorInUse}
		e.conveyor(&c)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Registers.AddConveyor(r.Context(), r.Scope, r.act("add conveyor "+c.Tag, ""), &c)
		return r.At("conveyors", c.ID), "Conveyor " + c.Tag + " added. Fit its belt next.", err
	})
}

// editConveyor changes a conveyor, from now on or as a correction.
func (s *Site) editConveyor(r *Request) error {
	c, err := s.conveyorAsked(r)
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the change", Leave: r.At("conveyors", c.ID)}
		p.Sheet, p.Say = "Conveyor "+c.Tag, "Change what is known of "+c.Tag
		p.Sub = "Speed, pulleys and take-up decide passes and cut lengths; past days keep what held then unless you correct it."
		f.version(c.Version)
		p.conveyorFields(reg, c, r.May(people.ReadCosts))
		p.section("", fromWhen(f, ""))
		p.reason(false, "Needed for a correction")
		return p, nil
	}, func(p *formPage, e *entry) (string, string, error) {
		next := c
		next.RowID = e.rowID()
		e.conveyor(&next)
		from := e.changesFrom()
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if next.StopCostPerHour != c.StopCostPerHour {
			if err := s.askFirst(r, p, LifeChange{Conveyor: &next}); err != nil {
				return "", "", err
			}
		}
		err := s.Registers.AlterConveyor(r.Context(), r.Scope, r.act(pick(from == 0, "correct", "change")+" conveyor "+next.Tag, e.text("reason")), &next, from)
		return r.At("conveyors", c.ID), "Conveyor " + next.Tag + pick(from == 0, " corrected.", " changed from now on."), err
	})
}

// retireConveyor ends the use of a conveyor.
func (s *Site) retireConveyor(r *Request) error {
	c, err := s.conveyorAsked(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "End its use", Leave: r.At("conveyors", c.ID)}
		p.Sheet, p.Say = "Conveyor "+c.Tag, "End the use of "+c.Tag
		p.Says = []string{"Its belt comes off and its splices end with it, as 'conveyor scrapped'. Everything that was stays in the records."}
		f.version(c.Version)
		p.section("", f.Known("retired", "Out of use since", assets.When{}).Must())
		p.reason(true, "Scrapped, sold, replaced by another: kept in the records")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		e.must("reason", "the reason: it is kept in the records")
		when := e.mustWhen("retired", "the day from which it is out of use")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Registers.RetireConveyor(r.Context(), r.Scope, r.act("retire conveyor "+c.Tag, e.text("reason")), r.PlantID(), c.ID, e.rowID(), when)
		return r.At("conveyors", c.ID), "Conveyor " + c.Tag + " is out of use.", err
	})
}

// mustWhen is when for a date that is needed.
func (e *entry) mustWhen(name, what string) assets.When {
	e.must(name, what)
	return e.when(name)
}

func (p *formPage) conveyorFields(reg *assets.Register, c assets.Conveyor, costs bool) {
	f := p.Form
	p.section("Where it stands",
		f.Text("tag", "Tag", c.Tag).Must().Hinted("As painted on the conveyor; case, dashes and leading zeros do not count"),
		f.Text("name", "Name", c.Name),
		f.Select("line_id", "Line", plainInt(c.LineID), lineOptions(reg, "no line named")),
		f.Number("position", "Place along the line", plainWhole(c.Position), "").Hinted("1 is the first that the material meets"),
		f.Text("other_names", "Other names it goes by", strings.Join(c.OtherNames, ", ")).Hinted("Set apart by commas; the search knows them too").OverBoth())
	p.section("Drive and duty",
		f.Quantity("speed_mps", "Belt speed", unit.BeltSpeed, c.SpeedMPS, nil),
		f.Quantity("speed_max_mps", "Highest speed", unit.BeltSpeed, c.SpeedMaxMPS, nil).Hinted("Only with a variable drive"),
		f.Text("product", "What it carries", c.Product),
		f.Optional("product_c", "Temperature of the product", unit.Heat, c.ProductC, nil),
		f.Tick("wash_down", "Washed down", c.WashDown), f.Tick("abrasive", "Abrasive product", c.Abrasive), f.Tick("outdoor", "Outdoors", c.Outdoor))
	p.section("Geometry",
		f.Quantity("centre_distance_m", "Centres, head to tail", unit.Distance, c.CentreDistanceM, nil),
		f.Number("incline_deg", "Incline", plainNumber(c.InclineDeg), "°").Hinted("Below 0 where it runs downhill"),
		f.Select("take_up_kind", "Take-up", c.TakeUpKind, []Option{{Label: "not known"}, {Value: "gravity", Label: "gravity"}, {Value: "screw", Label: "screw"}}),
		f.Quantity("take_up_travel_m", "Take-up travel, whole", unit.Travel, c.TakeUpTravelM, nil))
	p.pulleyRows(c.Pulleys)
	var stop []*Field
	if costs {
		stop = append(stop, f.Number("stop_cost_per_hour", "Cost of an unplanned stop, per hour", plainNumber(c.StopCostPerHour), reg.Plant.Currency))
	}
	p.section("When it stands still", append(stop,
		f.Text("isolation_group", "Isolation group", c.IsolationGroup).Hinted("Conveyors that are isolated together"),
		f.Text("access_note", "Access", c.AccessNote).OverBoth(), f.Area("remark", "Remark", c.Remark).OverBoth())...)
}

// spareRows is how many empty rows a table of parts offers.
const spareRows = 2

// mostRows bounds the rows a form asks for: no loop has more pulleys.
const mostRows = 60

// rowCount is how many rows a table of parts has: those kept or sent, and some to fill.
func (f *Form) rowCount(kept int) int {
	n := kept + spareRows
	if f.posted != nil {
		n = f.sentRows()
		if f.posted.Has(moreRows) {
			n += 4
		}
	}
	return max(1, min(n, mostRows))
}

// sentRows is how many rows a form holds: as many as it says, and no fewer than it has cells of.
func (f *Form) sentRows() int {
	n := int(min(max(numberOf(f.Value("rows")), 0), mostRows))
	for name := range f.posted {
		if m := cellName.FindStringSubmatch(name); m != nil {
			n = max(n, int(min(numberOf(m[1]), mostRows)))
		}
	}
	return n
}

// cellName is the name of a field in a table of parts: p3_role, v2_value.
var cellName = regexp.MustCompile(`^[pv]([0-9]{1,3})_[a-z]+$`)

func (p *formPage) pulleyRows(pulleys []assets.Pulley) {
	f := p.Form
	n := f.rowCount(len(pulleys))
	u := f.Plain.Units
	p.RowsAt = len(p.Sections)
	p.Rows = &formRows{Head: "Pulleys, in the order in which the belt meets them", More: "More rows",
		Hint: "From the tail along the carry side. Leave the places empty where nobody measured them: the drawing then places pulleys by role, and the loop length is not worked out. Empty rows count for nothing.",
		Columns: []string{"No.", "Pulley", "Diameter, " + unit.Diameter.Sign(u), "Belt face on it", "Wrap, ° (if known)", "x, " + unit.Distance.Sign(u), "y, " + unit.Distance.Sign(u),
			"Drive", "Lagged"}}
	f.Hidden("rows", "").Value = plainInt(int64(n))
	for i := range n {
		var pl assets.Pulley
		if i < len(pulleys) {
			pl = pulleys[i]
		}
		p.Rows.Rows = append(p.Rows.Rows, f.pulley(i+1, pl))
	}
}

var pulleyRoles = []assets.PulleyRole{assets.PulleyTail, assets.PulleyHead, assets.PulleySnub, assets.PulleyBend, assets.PulleyTakeUp}

// pulley is one row; the first cell only says which.
func (f *Form) pulley(i int, pl assets.Pulley) []*Field {
	name := func(part string) string { return fmt.Sprintf("p%d_%s", i, part) }
	label := func(what string) string { return fmt.Sprintf("%s of pulley %d", what, i) }
	var x, y *float64
	if pl.Placed {
		x, y = &pl.XM, &pl.YM
	}
	return []*Field{
		{Kind: "words", Value: plainInt(int64(i)), Name: name("no")},
		f.Select(name("role"), label("role"), string(pl.Role), choices("none", pulleyRoles, func(r assets.PulleyRole) string { return string(r) })),
		f.Quantity(name("diameter"), label("diameter"), unit.Diameter, pl.DiameterM, nil),
		f.Select(name("face"), label("belt face"), pick(pl.OuterFace, "outer", "inner"), []Option{{Value: "inner", Label: "inner"}, {Value: "outer", Label: "outer, reverse"}}),
		f.Number(name("wrap"), label("wrap"), plainNumber(pl.WrapDeg), "°"),
		f.Optional(name("x"), label("x"), unit.Distance, x, nil),
		f.Optional(name("y"), label("y"), unit.Distance, y, nil),
		f.Tick(name("drive"), label("drive"), pl.Drive),
		f.Tick(name("lagged"), label("lagging"), pl.Lagged),
	}
}

// conveyor reads the fields of a conveyor.
func (e *entry) conveyor(c *assets.Conveyor) {
	c.Tag, c.Name, c.LineID = e.must("tag", "the tag that stands on the conveyor"), e.text("name"), e.id("line_id")
	c.Position, c.OtherNames = e.whole("position", 0, 10_000), splitNames(e.text("other_names"))
	c.SpeedMPS = e.notBelowNought("speed_mps", "the speed", unit.BeltSpeed)
	if c.SpeedMaxMPS = e.notBelowNought("speed_max_mps", "the speed", unit.BeltSpeed); c.SpeedMaxMPS != 0 && c.SpeedMaxMPS < c.SpeedMPS {
		e.bad.Add("speed_max_mps", "the highest speed is below the speed; leave it empty for a fixed drive")
	}
	c.Product, c.ProductC = e.text("product"), e.optional("product_c", unit.Heat)
	c.WashDown, c.Abrasive, c.Outdoor = e.f.Ticked("wash_down"), e.f.Ticked("abrasive"), e.f.Ticked("outdoor")
	c.CentreDistanceM = e.notBelowNought("centre_distance_m", "the centre distance", unit.Distance)
	if c.InclineDeg = e.number("incline_deg"); c.InclineDeg < -90 || c.InclineDeg > 90 {
		e.bad.Add("incline_deg", "the incline lies between -90 and 90 degrees")
	}
	c.TakeUpKind = oneOf(e, "take_up_kind", "choose gravity, screw or not known", "", "gravity", "screw")
	c.TakeUpTravelM = e.notBelowNought("take_up_travel_m", "the travel", unit.Travel)
	if e.f.Get("stop_cost_per_hour") != nil {
		if c.StopCostPerHour = e.number("stop_cost_per_hour"); c.StopCostPerHour < 0 {
			e.bad.Add("stop_cost_per_hour", "the cost of a stop cannot be below 0")
		}
	}
	c.IsolationGroup, c.AccessNote, c.Remark = e.text("isolation_group"), e.text("access_note"), e.text("remark")
	c.Pulleys = e.pulleys()
}

func splitNames(text string) []string {
	var out []string
	for _, n := range strings.Split(text, ",") {
		if n = strings.TrimSpace(n); n != "" {
			out = append(out, n)
		}
	}
	return out
}

// pulleys reads the rows that hold something.
func (e *entry) pulleys() []assets.Pulley {
	var out []assets.Pulley
	once := map[assets.PulleyRole]int{}
	for i := 1; i <= e.f.sentRows(); i++ {
		name := func(part string) string { return fmt.Sprintf("p%d_%s", i, part) }
		if e.text(name("role"))+e.text(name("diameter"))+e.text(name("x"))+e.text(name("y"))+e.text(name("wrap")) == "" {
			continue
		}
		pl := e.pulley(i, name)
		if once[pl.Role]++; once[pl.Role] > 1 && (pl.Role == assets.PulleyTail || pl.Role == assets.PulleyHead) {
			e.bad.Add(name("role"), "a loop has one "+string(pl.Role)+" pulley; call this one a bend or a snub")
		}
		out = append(out, pl)
	}
	return out
}

// mostDiameterM bounds a pulley's diameter: beyond it the unit is wrong. Our own choice.
const mostDiameterM = 5

func (e *entry) pulley(i int, name func(string) string) assets.Pulley {
	pl := assets.Pulley{OuterFace: e.text(name("face")) == "outer", Drive: e.f.Ticked(name("drive")), Lagged: e.f.Ticked(name("lagged"))}
	pl.Role = oneOf(e, name("role"), fmt.Sprintf("say what pulley %d is: tail, head, snub, bend or take-up", i), pulleyRoles...)
	e.must(name("diameter"), fmt.Sprintf("the diameter of pulley %d", i))
	pl.DiameterM = e.quantity(name("diameter"), unit.Diameter)
	if e.text(name("diameter")) != "" && !(pl.DiameterM > 0 && pl.DiameterM <= mostDiameterM) {
		e.bad.Add(name("diameter"), "the diameter lies above 0 and at most at "+e.r.F.Diameter(mostDiameterM)+"; check the figure and its unit")
	}
	if pl.WrapDeg = e.number(name("wrap")); pl.WrapDeg < 0 || pl.WrapDeg > 360 {
		e.bad.Add(name("wrap"), "the wrap lies between 0 and 360 degrees")
	}
	x, y := e.optional(name("x"), unit.Distance), e.optional(name("y"), unit.Distance)
	switch {
	case x != nil && y != nil:
		pl.XM, pl.YM, pl.Placed = *x, *y, true
	case x != nil:
		e.bad.Add(name("y"), fmt.Sprintf("give y of pulley %d as well, or leave both out", i))
	case y != nil:
		e.bad.Add(name("x"), fmt.Sprintf("give x of pulley %d as well, or leave both out", i))
	}
	return pl
}
