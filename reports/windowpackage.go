package reports

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/crew"
	"carryside/schedule/kit"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
)

// WindowFacts is what a window package is made of: a stop with the orders placed in it, and what is known of them.
type WindowFacts struct {
	Window     assets.StopWindow
	Orders     []workorder.Order // placed in it
	Register   *assets.Register
	Groups     []assets.IsolationGroup
	Roster     crew.Roster
	Templates  []assets.WorkTemplate
	Names      map[int64]string // of people
	Kit        []assets.Kit
	Items      []assets.StockItem
	Lots       []stock.Lot // of the plant
	Aways      []assets.KitAway
	Checked    []assets.Calibration // of the kit
	WithStores bool                 // whoever asks may see stock and kit
	Built      time.Time
}

// WindowPackage is the work package of one stop: what is done in which order, by whom, with what, isolated where. It answers:
// what do we take along, and what happens when, in this stop?
type WindowPackage struct {
	Title, Scope string
	Where        string // what stands still
	Start, End   time.Time
	Zone         *time.Location
	Cautions     []string // the site's rules, where there are some, before the usual ones
	SiteRules    string
	Lacks        []string // what is not known or does not fit; read before anybody leaves
	Sections     []Section
	Built        time.Time
}

// Section is one list of a package.
type Section struct {
	Name    string
	None    string // said where it has no row
	Columns []Column
	Rows    [][]Cell
}

// cautionsOfStops are the usual ones (common practice); the site's own rules stand before them.
var cautionsOfStops = []string{
	"Isolate, lock out and try out every conveyor worked at, by the site's own rules and qualified people; this sheet isolates and frees nothing.",
	"Release stored tension first: take-up weights, winches, roll-back on inclines.",
	"Nip points, blades, hot platens, solvents: guards, cut-resistant gloves, ventilation, no ignition.",
	"Lifting and the electrical supply of presses by those who hold the ticket for it.",
}

// NewWindowPackage puts a package together.
func NewWindowPackage(f WindowFacts) *WindowPackage {
	slices.SortStableFunc(f.Orders, inOrder)
	w := f.Window
	zone := f.Register.Plant.Location()
	p := &WindowPackage{Title: "Window package", Start: w.Start.Time(), End: w.End.Time(), Zone: zone, Built: f.Built, Cautions: slices.Clone(cautionsOfStops)}
	if p.SiteRules = f.Register.Plant.SiteRules; p.SiteRules != "" {
		p.Cautions = append([]string{f.Register.Plant.SiteRules}, p.Cautions...)
	}
	p.Where = f.where()
	p.Scope = f.Register.Plant.Name + ", " + p.Where
	b := packing{WindowFacts: f, p: p, day: assets.DayOf(p.Start.In(zone))}
	p.Sections = append(p.Sections, b.jobs(), b.isolation(), b.people())
	p.Sections = append(p.Sections, b.belts())
	if f.WithStores {
		p.Sections = append(p.Sections, b.kit(), b.stock())
	}
	b.fits()
	return p
}

// inOrder is the order in which placed orders are worked at: by their planned start, then by latest date and number.
func inOrder(a, b workorder.Order) int {
	start := func(o workorder.Order) assets.Instant {
		if o.PlacedStart != nil {
			return *o.PlacedStart
		}
		return 1<<62 - 1
	}
	latest := func(o workorder.Order) assets.Day { return cmp.Or(o.LatestDay, "9999") }
	return cmp.Or(cmp.Compare(start(a), start(b)), cmp.Compare(latest(a), latest(b)), cmp.Compare(a.Number, b.Number))
}

func (f WindowFacts) where() string {
	if len(f.Window.ConveyorIDs) > 0 {
		var tags []string
		for _, id := range f.Window.ConveyorIDs {
			tags = append(tags, f.tag(id))
		}
		return strings.Join(tags, ", ")
	}
	if l, ok := f.Register.Line(f.Window.LineID); ok {
		return l.Name
	}
	return "the whole plant"
}

func (f WindowFacts) tag(conveyor int64) string {
	c, _ := f.Register.Conveyor(conveyor)
	return c.Tag
}

// packing is a package being put together.
type packing struct {
	WindowFacts
	p   *WindowPackage
	day assets.Day
}

func (b *packing) lack(format string, args ...any) {
	b.p.Lacks = append(b.p.Lacks, fmt.Sprintf(format, args...))
}

// template is what an order's work takes, where that is entered.
func (b *packing) template(o workorder.Order) (assets.WorkTemplate, bool) {
	sp, _ := b.Register.Splice(o.SpliceID)
	return assets.TemplateFor(b.Templates, b.Register.Plant.CustomerID, string(o.Kind), sp.Form, sp.Bond)
}

// hours is how long an order's work takes: what the order says, else its template.
func (b *packing) hours(o workorder.Order) float64 {
	if t, ok := b.template(o); ok && o.WorkHours == 0 {
		return float64(t.DurationMin) / 60
	}
	return o.WorkHours
}

func (b *packing) group(conveyor int64) (assets.IsolationGroup, bool) {
	i := slices.IndexFunc(b.Groups, func(g assets.IsolationGroup) bool { return slices.Contains(g.ConveyorIDs, conveyor) })
	if i < 0 {
		return assets.IsolationGroup{}, false
	}
	return b.Groups[i], true
}

var jobColumns = []Column{
	{Key: "turn", Heading: "Turn", Kind: KindInteger, WidthCh: 5},
	{Key: "from", Heading: "From", Kind: KindInstant, WidthCh: 16},
	{Key: "order", Heading: "Order", Kind: KindInteger, WidthCh: 7},
	{Key: "conveyor", Heading: "Conveyor", Kind: KindText, WidthCh: 10},
	{Key: "work", Heading: "Work", Kind: KindText, WidthCh: 30, Wrap: true},
	{Key: "hours", Heading: "Takes", Unit: "h", Kind: KindNumber, Decimals: 1, WidthCh: 7},
	{Key: "people", Heading: "People", Kind: KindText, WidthCh: 28, Wrap: true},
	{Key: "isolated", Heading: "Isolated at", Kind: KindText, WidthCh: 20, Wrap: true},
}

// jobs is the order of work.
func (b *packing) jobs() Section {
	s := Section{Name: "Order of jobs", None: "Nothing is placed in this stop.", Columns: jobColumns}
	for i, o := range b.Orders {
		start := Cell{}
		if o.PlacedStart != nil {
			start = Instant(o.PlacedStart.Time(), b.p.Zone)
		}
		point := "by itself, point not entered"
		if g, ok := b.group(o.ConveyorID); ok {
			point = g.Point
		}
		if t, ok := b.template(o); ok && !t.Isolation {
			point = "not isolated"
		}
		s.Rows = append(s.Rows, []Cell{Integer(float64(i + 1)), start, Integer(float64(o.Number)), Text(b.tag(o.ConveyorID)), Text(o.Title), Number(b.hours(o), 1), Text(strings.Join(b.names(o.PlacedPeople), ", ")), Text(point)})
	}
	return s
}

func (b *packing) names(people []int64) []string {
	var out []string
	for _, id := range people {
		out = append(out, cmp.Or(b.Names[id], fmt.Sprintf("person %d", id)))
	}
	return out
}

// isolation is every group worked at, with when work may begin and must be over.
func (b *packing) isolation() Section {
	s := Section{Name: "Isolation points", None: "No conveyor is isolated for work in this stop.", Columns: []Column{
		{Key: "group", Heading: "Group", Kind: KindText, WidthCh: 14}, {Key: "point", Heading: "Isolated at", Kind: KindText, WidthCh: 24, Wrap: true},
		{Key: "conveyors", Heading: "Conveyors", Kind: KindText, WidthCh: 24, Wrap: true}, {Key: "from", Heading: "Work from", Kind: KindInstant, WidthCh: 16}, {Key: "until", Heading: "Work over by", Kind: KindInstant, WidthCh: 16}}}
	seen := map[int64]bool{}
	for _, o := range b.Orders {
		if t, ok := b.template(o); ok && !t.Isolation || seen[-o.ConveyorID] {
			continue
		}
		g, ok := b.group(o.ConveyorID)
		if !ok {
			seen[-o.ConveyorID] = true
			b.lack("%s is in no isolation group: no time is kept free for isolating and restarting it.", b.tag(o.ConveyorID))
			s.Rows = append(s.Rows, []Cell{{}, Text("not entered"), Text(b.tag(o.ConveyorID)), Instant(b.p.Start, b.p.Zone), Instant(b.p.End, b.p.Zone)})
			continue
		}
		if seen[g.ID] {
			continue
		}
		seen[g.ID] = true
		var tags []string
		for _, id := range g.ConveyorIDs {
			tags = append(tags, b.tag(id))
		}
		s.Rows = append(s.Rows, []Cell{Text(g.Name), Text(g.Point), Text(strings.Join(tags, ", ")), Instant(b.p.Start.Add(time.Duration(g.IsolateMin)*time.Minute), b.p.Zone), Instant(b.p.End.Add(-time.Duration(g.RestartMin)*time.Minute), b.p.Zone)})
	}
	return s
}

// people is who comes, for which orders, and with which ticket of the day.
func (b *packing) people() Section {
	s := Section{Name: "People", None: "Nobody is named.", Columns: []Column{{Key: "person", Heading: "Person", Kind: KindText, WidthCh: 20},
		{Key: "orders", Heading: "Orders", Kind: KindText, WidthCh: 16}, {Key: "tickets", Heading: "Tickets that hold that day", Kind: KindText, WidthCh: 36, Wrap: true}, {Key: "look", Heading: "Look", Kind: KindText, WidthCh: 30, Wrap: true}}}
	of := map[int64][]workorder.Order{}
	var turn []int64
	for _, o := range b.Orders {
		for _, id := range o.PlacedPeople {
			if of[id] == nil {
				turn = append(turn, id)
			}
			of[id] = append(of[id], o)
		}
	}
	for _, id := range turn {
		var numbers, wrong []string
		for _, o := range of[id] {
			numbers = append(numbers, fmt.Sprint(o.Number))
			sp, _ := b.Register.Splice(o.SpliceID)
			if st := b.Roster.On(id, crew.Of(b.Templates, b.Register.Plant.CustomerID, string(o.Kind), sp.Form, sp.Bond), b.day); st != crew.May {
				wrong = append(wrong, fmt.Sprintf("order %d: %s", o.Number, st))
			}
		}
		if len(wrong) > 0 {
			b.lack("%s, %s.", b.names([]int64{id})[0], strings.Join(wrong, "; "))
		}
		s.Rows = append(s.Rows, []Cell{Text(b.names([]int64{id})[0]), Text(strings.Join(numbers, ", ")), Text(strings.Join(b.tickets(id), ", ")), Text(strings.Join(wrong, "; "))})
	}
	return s
}

// tickets are the names of the tickets somebody holds on the day of the stop.
func (b *packing) tickets(person int64) []string {
	var out []string
	for _, q := range b.Roster.Qualifications {
		if slices.ContainsFunc(b.Roster.Tickets, func(t assets.PersonQualification) bool {
			return t.PersonID == person && t.QualificationID == q.ID && t.HoldsOn(b.day)
		}) {
			out = append(out, q.Name)
		}
	}
	return out
}

// The international inch and foot (NIST Special Publication 811, appendix B.8), m.
const (
	metresPerInch = 0.0254
	metresPerFoot = 0.3048
)

// us tells whether the plant's people read US customary units.
func (b *packing) us() bool { return b.Register.Plant.UnitSystem == assets.UnitsUS }

// belts is the belt to cut for the stop: whole belts of belt changes, and pieces whose length is measured there.
func (b *packing) belts() Section {
	width, widthDigits, length := "mm", 0, "m"
	if b.us() {
		width, widthDigits, length = "in", 2, "ft"
	}
	s := Section{Name: "Belts to cut", None: "No belt is cut for this stop.", Columns: []Column{{Key: "order", Heading: "Order", Kind: KindInteger, WidthCh: 7}, {Key: "conveyor", Heading: "Conveyor", Kind: KindText, WidthCh: 10},
		{Key: "specification", Heading: "Belt", Kind: KindText, WidthCh: 30, Wrap: true}, {Key: "width", Heading: "Width", Unit: width, Kind: KindNumber, Decimals: widthDigits, WidthCh: 9}, {Key: "length", Heading: "Loop", Unit: length, Kind: KindNumber, Decimals: 2, WidthCh: 9}, {Key: "note", Heading: "Note", Kind: KindText, WidthCh: 34, Wrap: true}}}
	for _, o := range b.Orders {
		if o.Kind != workorder.KindBeltChange && o.Kind != workorder.KindInsertPiece {
			continue
		}
		belt, _ := b.Register.Belt(o.BeltID)
		loop, note := Cell{}, "length of the piece as measured on site"
		if o.Kind == workorder.KindBeltChange {
			loop, note = Number(belt.LoopLengthM, 2), "loop as it is now; add what the splice takes"
		}
		wide := Number(belt.WidthM*1000, widthDigits)
		if b.us() {
			wide = Number(belt.WidthM/metresPerInch, widthDigits)
			if o.Kind == workorder.KindBeltChange {
				loop = Number(belt.LoopLengthM/metresPerFoot, 2)
			}
		}
		s.Rows = append(s.Rows, []Cell{Integer(float64(o.Number)), Text(b.tag(o.ConveyorID)), Text(b.specification(belt)), wide, loop, Text(note)})
	}
	return s
}

func (b *packing) specification(belt assets.Belt) string {
	for _, s := range b.Register.Specifications {
		if s.ID == belt.SpecificationID {
			return s.Name
		}
	}
	return belt.Specification
}

// kit is what goes along: the pieces named, and the classes that work asks for and nobody has named a piece of.
func (b *packing) kit() Section {
	s := Section{Name: "Kit", None: "No kit is named or asked for.", Columns: []Column{{Key: "kit", Heading: "Kit", Kind: KindText, WidthCh: 26}, {Key: "class", Heading: "Class", Kind: KindText, WidthCh: 14},
		{Key: "orders", Heading: "Orders", Kind: KindText, WidthCh: 16}, {Key: "note", Heading: "Note", Kind: KindText, WidthCh: 34, Wrap: true}}}
	orders, asked := map[int64][]string{}, map[string][]string{}
	for _, o := range b.Orders {
		number, named := fmt.Sprint(o.Number), map[string]bool{}
		for _, id := range o.PlacedTools {
			orders[id] = append(orders[id], number)
			if k, ok := b.piece(id); ok {
				named[string(k.Class)] = true
			}
		}
		if o.PlacedKit != "" && len(o.PlacedTools) == 0 { // beside pieces the words are their names
			s.Rows = append(s.Rows, []Cell{Text(o.PlacedKit), {}, Text(number), Text("in words, as the order says")})
			continue
		}
		if t, ok := b.template(o); ok {
			for _, n := range t.Kit {
				if !named[n.Class] {
					asked[n.Class] = append(asked[n.Class], number)
				}
			}
		}
	}
	for _, id := range slices.Sorted(maps.Keys(orders)) {
		k, _ := b.piece(id)
		name, wrong := cmp.Or(k.Name, fmt.Sprintf("kit %d", id)), b.unfit(k)
		if wrong != "" {
			b.lack("%s: %s.", name, wrong)
		}
		s.Rows = append(s.Rows, []Cell{Text(name), Text(string(k.Class)), Text(strings.Join(orders[id], ", ")), Text(strings.Trim(k.Serial+"; "+wrong, "; "))})
	}
	for _, class := range slices.Sorted(maps.Keys(asked)) {
		s.Rows = append(s.Rows, []Cell{{}, Text(class), Text(strings.Join(asked[class], ", ")), Text("asked for, no piece named")})
		b.lack("No %s is named for order %s.", class, strings.Join(asked[class], ", "))
	}
	return s
}

// unfit says why a piece of kit cannot be used in the stop: out of use, away, its calibration over, or too narrow for a belt; "" when it can.
func (b *packing) unfit(k assets.Kit) string {
	if k.ID == 0 {
		return ""
	}
	for _, a := range b.Aways {
		if a.KitID == k.ID && !a.Cancelled && a.FromAt < b.Window.End && (a.ToAt == 0 || a.ToAt > b.Window.Start) {
			return "it is away then (" + strings.Trim(string(a.Why)+", "+a.Where, ", ") + ")"
		}
	}
	due := kit.CalibrationDue(slices.DeleteFunc(slices.Clone(b.Checked), func(c assets.Calibration) bool { return c.KitID != k.ID }), b.day)
	switch {
	case !k.InUse(b.day):
		return "it is not in use then"
	case due.Overdue:
		return "its calibration is due on " + ShownDay(due.Day)
	}
	for _, o := range b.Orders {
		belt, _ := b.Register.Belt(o.BeltID)
		t, ok := b.template(o)
		if ok && k.WorkingWidthM > 0 && belt.WidthM > k.WorkingWidthM && slices.Contains(o.PlacedTools, k.ID) &&
			slices.ContainsFunc(t.Kit, func(n assets.KitNeed) bool { return n.Class == string(k.Class) && n.AsBelt }) {
			return fmt.Sprintf("it is narrower than the belt of %s", b.tag(o.ConveyorID))
		}
	}
	return ""
}

func (b *packing) piece(id int64) (assets.Kit, bool) {
	i := slices.IndexFunc(b.Kit, func(k assets.Kit) bool { return k.ID == id })
	if i < 0 {
		return assets.Kit{}, false
	}
	return b.Kit[i], true
}

// stock is what is picked from the shelf, added up over the orders.
func (b *packing) stock() Section {
	s := Section{Name: "Stock to pick", None: "No work template names stock for these orders.", Columns: []Column{{Key: "item", Heading: "Item", Kind: KindText, WidthCh: 30, Wrap: true}, {Key: "quantity", Heading: "Quantity", Kind: KindNumber, Decimals: 3, WidthCh: 10},
		{Key: "unit", Heading: "Unit", Kind: KindText, WidthCh: 8}, {Key: "orders", Heading: "Orders", Kind: KindText, WidthCh: 14}, {Key: "take", Heading: "Take from", Kind: KindText, WidthCh: 34, Wrap: true}}}
	amount, orders, needs := map[int64]float64{}, map[int64][]string{}, map[int64][]float64{}
	for _, o := range b.Orders {
		t, ok := b.template(o)
		if !ok {
			continue
		}
		belt, _ := b.Register.Belt(o.BeltID)
		for _, n := range t.Stock {
			q := n.PerSplice + n.PerMWidth*belt.WidthM
			amount[n.ItemID] += q
			needs[n.ItemID] = append(needs[n.ItemID], q)
			orders[n.ItemID] = append(orders[n.ItemID], fmt.Sprint(o.Number))
		}
	}
	var along []string
	for _, item := range b.Items {
		if q := amount[item.ID]; q > 0 {
			from, bring := b.takeFrom(item, needs[item.ID])
			if bring > 0 {
				along = append(along, item.Unit.Of(bring)+" of "+item.Name)
			}
			s.Rows = append(s.Rows, []Cell{Text(item.Name), Number(q, 3), Text(string(item.Unit)), Text(strings.Join(orders[item.ID], ", ")), Text(from)})
		}
	}
	if len(along) > 0 {
		b.lack("Not at the plant, fit for use that day; bring it along: %s.", strings.Join(along, ", "))
	}
	return s
}

// takeFrom says from which lots of the plant an item is picked, what expires first before the rest, and what has to be brought along.
// What goes in cuts is picked order by order, each cut in one piece.
func (b *packing) takeFrom(item assets.StockItem, needs []float64) (words string, bring assets.Quantity) {
	var lots []stock.Lot
	for _, l := range b.Lots {
		if l.ItemID == item.ID && l.PlantID == b.Register.Plant.ID {
			lots = append(lots, l)
		}
	}
	var from []string
	taken := map[int64]assets.Quantity{}
	for _, need := range needs {
		want, _ := assets.QuantityOf(need)
		lines, short := stock.Pick(item, lots, want, b.day)
		for _, line := range lines {
			i := slices.IndexFunc(lots, func(l stock.Lot) bool { return l.ID == line.LotID })
			lots[i].OnHand += line.Quantity
			taken[line.LotID] -= line.Quantity
		}
		bring += short
	}
	for _, l := range stock.Order(lots) {
		if q := taken[l.ID]; q > 0 {
			from = append(from, item.Unit.Of(q)+" of lot "+l.Lot+pick(l.Shelf == "", "", ", "+l.Shelf))
		}
	}
	if bring > 0 {
		from = append(from, item.Unit.Of(bring)+" to bring along")
	}
	return strings.Join(from, "; "), bring
}

// inStop says when an order's conveyor does not stand still, when its work is longer than the stop leaves for it, or is set for other hours.
func (b *packing) inStop(o workorder.Order) {
	if c, ok := b.Register.Conveyor(o.ConveyorID); ok && !b.Window.Stops(c) {
		b.lack("Order %d is at %s, which does not stand still in this stop: take the order out of it.", o.Number, c.Tag)
		return
	}
	if o.State == workorder.Done || o.State == workorder.Signed {
		return
	}
	from, until := b.p.Start, b.p.End
	if g, ok := b.group(o.ConveyorID); ok && b.isolated(o) {
		from, until = from.Add(time.Duration(g.IsolateMin)*time.Minute), until.Add(-time.Duration(g.RestartMin)*time.Minute)
	}
	takes := time.Duration(b.hours(o) * float64(time.Hour)).Round(time.Minute)
	room := max(0, until.Sub(from))
	if takes > room {
		b.lack("Order %d takes %.1f h and the stop leaves %.1f h for it.", o.Number, takes.Hours(), room.Hours())
		return
	}
	if o.PlacedStart == nil {
		return
	}
	if start := o.PlacedStart.Time(); start.Before(from) || start.Add(takes).After(until) {
		at := func(t time.Time) string { return Instant(t, b.p.Zone).Shown() }
		b.lack("Order %d is set for %s to %s; work in this stop is from %s to %s. Set its time again.", o.Number, at(start), at(start.Add(takes)), at(from), at(until))
	}
}

// isolated tells whether the work is done on an isolated conveyor: as its template says, else it is.
func (b *packing) isolated(o workorder.Order) bool {
	t, ok := b.template(o)
	return !ok || t.Isolation
}

// fits says when the work does not go into the stop one after the other, or when it lacks people.
func (b *packing) fits() {
	hours := 0.0
	for _, o := range b.Orders {
		hours += b.hours(o)
		b.inStop(o)
		if len(o.PlacedPeople) < o.Crew {
			b.lack("Order %d needs %d people and has %d.", o.Number, o.Crew, len(o.PlacedPeople))
		}
	}
	if length := b.p.End.Sub(b.p.Start).Hours(); hours > length && len(b.Orders) > 1 {
		b.lack("The work is %.1f h, the stop %.1f h: some of it has to go on side by side.", hours, length)
	}
}
