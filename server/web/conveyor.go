package web

import (
	"fmt"
	"html/template"
	"math"
	"slices"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// conveyorPage answers: what runs here, how old is each splice on each clock, what sets its date, what has
// there been before, and what was seen.
type conveyorPage struct {
	Page
	Tag       string
	Drawing   template.HTML
	Scale     string // how true to scale the drawing is
	Due       *duePart
	Clocks    []clockRow
	ClockNote string
	Facts     []Fact
	History   *historyPart
	TakeUp    *takeUpPart
	BeltDue   string     // when the belt itself is due, and why; "" where nothing sets a date
	Trends    []trendRow // measured on the belt as a whole
	Findings  []findingRow
	Rest      []findingRow // those before, folded away
	Found     string       // "31 findings"
	Empty     *Empty       // no belt on it
	Pulleys   []pulleyRow
	Also      []Link // forms that change conveyor and belt
}

// Fact is a word and what is known under it.
type Fact struct{ Name, Value string }

// clockRow is one splice on its four clocks.
type clockRow struct {
	Name, To                             string
	Place, Made, By, Kind                string
	Days, Hours, Passes, Flexes, Reverse string
	Used                                 drawing.Used
	Sets                                 string
	Thumb                                string // what a rule of thumb says beside it; "" for nothing
	DueDay                               string
	Late, Most                           bool // Most: the splice the headline is about
	Orders                               []Link
}

type pulleyRow struct{ Role, Diameter, Wrap, Face, Place, Remark string }

type findingRow struct {
	When, By, Where, What, Measured, Grade string
	Led                                    *Link
	LedWord                                string
	Files                                  string // address of its photos and papers
}

func (s *Site) conveyor(r *Request) error {
	id, err := r.ID("conveyor")
	if err != nil {
		return err
	}
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	v := viewOf(fl, r.F)
	c, ok := v.Register.Conveyor(id)
	if !ok {
		if v, c, err = s.retiredConveyor(r, fl, id); err != nil {
			return err
		}
	}
	past, err := s.Fleets.Past(r.Context(), r.Scope, r.PlantID(), id)
	if err != nil {
		return err
	}
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	orders := ordersByConveyor(open)[id]
	p := &conveyorPage{Tag: c.Tag}
	p.Sheet, p.Say, p.Sub = "Conveyor "+c.Tag, v.conveyorSay(c), v.conveyorSub(c, orders)
	r.conveyorActions(p, c, orders)
	r.fillConveyor(p, v, c, past, orders)
	windows, err := s.Days.Windows(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	if b, fitted := v.Register.BeltOn(c.ID, 0); fitted {
		p.Trends = v.trendRows(func(t *due.Trend) bool { return t.SpliceID == 0 && t.BeltID == b.ID })
	}
	if b := v.beltDate(c.ID); b != nil {
		p.BeltDue = fullStop(Capital(v.beltDateWords(b)))
	}
	p.Due = v.duePart(c, v.live(c.ID), windows, r.PlantID(), true)
	files, err := s.filesLink(r, assets.AttachedToConveyor, c.ID, "conveyors/:conveyor/files", c.ID)
	if err != nil {
		return err
	}
	p.Also = append(p.Also, files)
	return r.Show("conveyor", p)
}

// retiredConveyor looks among the conveyors out of use: their page stays, for whoever answers for their splices. It
// returns a view whose register holds the conveyor too.
func (s *Site) retiredConveyor(r *Request, fl *Fleet, id int64) (fleetView, assets.Conveyor, error) {
	retired, err := s.Fleets.Retired(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return fleetView{}, assets.Conveyor{}, err
	}
	for _, c := range retired {
		if c.ID == id {
			reg := *fl.Register // shared: its lists are copied before they are sorted anew
			reg.Lines, reg.Belts, reg.Splices = slices.Clone(reg.Lines), slices.Clone(reg.Belts), slices.Clone(reg.Splices)
			reg.Conveyors = append(slices.Clone(reg.Conveyors), c)
			reg.Arrange()
			return viewOf(&Fleet{Register: &reg, Standings: fl.Standings}, r.F), c, nil
		}
	}
	return fleetView{}, assets.Conveyor{}, fmt.Errorf("conveyor %d: %w", id, assets.ErrNotFound)
}

// conveyorActions are the buttons beside the headline and the forms of the page.
func (r *Request) conveyorActions(p *conveyorPage, c assets.Conveyor, orders []workorder.Order) {
	if c.Status == assets.ConveyorRetired {
		for _, f := range [...][2]string{{"Its readings", "conveyors/:conveyor/readings"}, {"Change it", "conveyors/:conveyor/edit"}} {
			if to, ok := r.Link(f[1], c.ID); ok {
				p.Also = append(p.Also, Link{Word: f[0], To: to})
			}
		}
		return
	}
	r.Offer(&p.Page, "Change it", "conveyors/:conveyor/edit", false, c.ID)
	r.Offer(&p.Page, "Enter a reading", "conveyors/:conveyor/reading", false, c.ID)
	r.Offer(&p.Page, "Record a finding", "conveyors/:conveyor/finding", len(orders) == 0, c.ID)
	if to, ok := r.Link("standstills/new"); ok {
		p.Do = append(p.Do, Action{Word: "It stands by a failure", To: to + "?conveyor=" + plainInt(c.ID)})
	}
	for _, f := range [...][2]string{{"Fit a belt", "conveyors/:conveyor/belt"}, {"Record a splice", "conveyors/:conveyor/splice"}, {"Its readings", "conveyors/:conveyor/readings"}, {"Retire it", "conveyors/:conveyor/retire"}} {
		if to, ok := r.Link(f[1], c.ID); ok {
			p.Also = append(p.Also, Link{Word: f[0], To: to})
		}
	}
	if len(orders) > 0 {
		r.Offer(&p.Page, fmt.Sprintf("Open order %d", orders[0].Number), "orders/:order", true, orders[0].Number)
	}
}

func (r *Request) fillConveyor(p *conveyorPage, v fleetView, c assets.Conveyor, past *Past, orders []workorder.Order) {
	belt, fitted := v.Register.BeltOn(c.ID, 0)
	if !fitted && c.Status != assets.ConveyorRetired {
		p.Empty = r.noBelt(c)
	} else if to, ok := r.Link("belts/:belt/edit", belt.ID); fitted && ok {
		p.Also = append(p.Also, Link{Word: "Change the belt", To: to})
	}
	d := v.detail(c, belt, past, r.PlantID())
	pic := drawing.OfConveyor(d)
	p.Drawing = pic.SVG
	p.Scale = "Centres and rise to scale, pulleys drawn larger. " + zeroMarkNote
	if pic.Exact {
		p.Scale = "Centres and rise to scale, pulleys 3 times larger. " + zeroMarkNote
	}
	p.Clocks = r.clockRows(v, c, orders)
	p.ClockNote = clockNote(c, belt, v)
	p.Facts = v.conveyorFacts(c, belt)
	p.Pulleys = v.pulleyRows(c)
	p.History = v.history(c, past)
	p.TakeUp = v.takeUp(c, belt, past)
	numbers := map[int64]int64{}
	for _, o := range orders {
		numbers[o.ID] = o.Number
	}
	p.Findings, p.Rest = r.findingRows(past.Findings, past.People, numbers)
	p.Found = Figure(len(past.Findings), "finding", "findings")
}

const zeroMarkNote = "Drawn with the belt's zero mark at the tail: a running belt carries its splices round."

func (r *Request) noBelt(c assets.Conveyor) *Empty {
	e := &Empty{What: "There is no belt on " + c.Tag, Why: "Without one no splice has a place, no pass is counted and nothing comes due here."}
	var p Page
	r.Offer(&p, "Fit a belt", "conveyors/:conveyor/belt", true, c.ID)
	e.Do = p.Do
	return e
}

// detail is the conveyor as drawn across its page.
func (v fleetView) detail(c assets.Conveyor, b assets.Belt, past *Past, plantID int64) drawing.Detail {
	d := drawing.Detail{Belt: v.drawn(c, plantID), TakeUpShare: -1}
	for _, p := range c.Pulleys {
		d.PulleyWords = append(d.PulleyWords, v.pulleyWords(p))
	}
	if c.SpeedMPS > 0 {
		d.SpeedWords = v.f.Speed(c.SpeedMPS)
		if c.SpeedMaxMPS > c.SpeedMPS {
			d.SpeedWords += " to " + v.f.Speed(c.SpeedMaxMPS)
		}
		if once := Once(b.LoopLengthM, c.SpeedMPS); once != "" {
			d.SpeedWords += ", " + once
		}
	}
	if c.CentreDistanceM > 0 {
		d.Dimension = v.f.Centres(c.CentreDistanceM) + " centres"
		if rise := c.CentreDistanceM * math.Sin(c.InclineDeg*math.Pi/180); math.Abs(rise) >= 0.05 {
			d.Dimension += pick(rise > 0, ", rise ", ", fall ") + v.f.Distance(math.Round(math.Abs(rise)*10)/10)
		}
	}
	if used, ok := rules.TravelUsedM(b, past.Findings); ok && c.TakeUpTravelM > 0 {
		d.TakeUpShare = used / c.TakeUpTravelM
		d.TakeUpWords = []string{"take-up travel: " + v.f.Travel(used) + " of " + v.f.Travel(c.TakeUpTravelM) + " used"}
	}
	if c.TakeUpKind == "gravity" {
		d.TakeUpWords = append(d.TakeUpWords, "gravity: pin the weight before cutting")
	}
	return d
}

func (v fleetView) pulleyWords(p assets.Pulley) string {
	words := Capital(string(p.Role))
	if p.DiameterM > 0 {
		words += ", " + v.f.Diameter(p.DiameterM)
	}
	if p.Drive {
		words += ", drive"
	}
	return words
}

func (v fleetView) pulleyRows(c assets.Conveyor) []pulleyRow {
	var rows []pulleyRow
	for _, p := range c.Pulleys {
		row := pulleyRow{Role: string(p.Role), Diameter: v.f.Diameter(p.DiameterM), Wrap: "from the geometry",
			Face: pick(p.OuterFace, "carrying face: a reverse bend", "running face"), Place: "by its role"}
		if p.WrapDeg > 0 {
			row.Wrap = Short(p.WrapDeg, 1) + "°"
		}
		if p.Placed {
			row.Place = v.f.Distance(p.XM) + " along, " + v.f.Distance(p.YM) + " up"
		}
		if p.Drive {
			row.Remark = "drive"
		}
		if p.Lagged {
			row.Remark += pick(row.Remark == "", "lagged", ", lagged")
		}
		rows = append(rows, row)
	}
	return rows
}

// clockRows is the table of splices on their four clocks.
func (r *Request) clockRows(v fleetView, c assets.Conveyor, orders []workorder.Order) []clockRow {
	worst, _, _ := v.worst(c.ID)
	var rows []clockRow
	for _, s := range v.live(c.ID) {
		st, _ := v.standing(s.ID)
		row := clockRow{Name: spliceMark(s), To: r.At("splices", s.ID), Place: "not known", Made: v.f.When(s.Made), By: s.MadeBy,
			Kind: assets.KindWords(s.Form, s.Bond), Used: usedOf("", st), Sets: Capital(st.Reason), Thumb: Capital(v.thumbWords(st)), Late: st.Overdue, Most: s.ID == worst.ID && st.Band.Past()}
		row.Days, row.Hours, row.Passes, row.Flexes, row.Reverse = clockWords(st)
		if s.PositionM != nil {
			row.Place = v.f.Distance(*s.PositionM)
		}
		if st.DueDay != "" {
			row.DueDay = v.f.Day(st.DueDay)
		}
		for _, o := range orders {
			if o.SpliceID == s.ID {
				row.Orders = append(row.Orders, Link{Word: fmt.Sprintf("%d, %s", o.Number, o.State), To: r.At("orders", o.Number)})
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// clockWords writes an age on the four clocks; flexes in millions.
func clockWords(st due.Standing) (days, hours, passes, flexes, reverse string) {
	if !st.Age.Known {
		return "not known", "not known", "not known", "not known", ""
	}
	days = Int(int64(st.Age.Days))
	if !st.Age.Exact {
		days = "at least " + Int(int64(st.Age.AtLeastDays))
	}
	million := func(x float64) string { return Num(x/1e6, 2) }
	whole := func(x float64) string { return Num(math.Floor(x), 0) }
	flexes = figureOf(st.Age.Flexes, million)
	if st.Age.ReverseFlexes.Known {
		reverse = million(st.Age.ReverseFlexes.Value) + " reverse"
	}
	return days, figureOf(st.Age.RunHours, whole), figureOf(st.Age.Passes, whole), flexes, reverse
}

// clockNote says what life used is measured against and how fast passes are counted.
func clockNote(c assets.Conveyor, b assets.Belt, v fleetView) string {
	note := "Life used is the age against the best age or rule, whichever comes first"
	if c.SpeedMPS > 0 && b.LoopLengthM > 0 {
		note += ". " + Num(3600*c.SpeedMPS/b.LoopLengthM, 2) + nb + "passes an hour now"
	}
	bends, reverse := 0, 0
	for _, p := range c.Pulleys {
		bends++
		if p.OuterFace {
			reverse++
		}
	}
	if bends > 0 {
		note += fmt.Sprintf(", each over %s, %d of them in reverse", Figure(bends, "pulley", "pulleys"), reverse)
	}
	return note
}

func (v fleetView) conveyorFacts(c assets.Conveyor, b assets.Belt) []Fact {
	facts := []Fact{{"Line", pick(v.Register.LineName(c) == "", "none named", v.Register.LineName(c))}}
	add := func(name, value string) {
		if value != "" {
			facts = append(facts, Fact{name, value})
		}
	}
	if b.ID != 0 {
		add("Belt", v.beltWords(b))
		add("Loop length", v.f.Loop(b.LoopLengthM))
		add("Thickness", v.f.Thickness(b.ThicknessM))
		add("Working tension", v.f.Tension(b.WorkingTensionNPerM))
		add("Roll", b.RollNumber)
		add("Fitted", v.f.When(b.Fitted)+pick(b.FittedBy == "", "", ", "+b.FittedBy))
		add("On the belt", b.Remark)
	}
	add("Product", c.Product)
	if c.ProductC != nil {
		add("Product temperature", v.f.Heat(*c.ProductC))
	}
	add("Duty", dutyWords(c))
	add("Isolation group", c.IsolationGroup)
	add("Access", c.AccessNote)
	add("Also called", List(c.OtherNames))
	add("Remark", c.Remark)
	return facts
}

func dutyWords(c assets.Conveyor) string {
	var words []string
	for _, d := range []struct {
		is   bool
		word string
	}{{c.WashDown, "washed down"}, {c.Abrasive, "abrasive"}, {c.Outdoor, "outdoors"}} {
		if d.is {
			words = append(words, d.word)
		}
	}
	return List(words)
}

// takeUpPart says how many re-splices the take-up leaves.
type takeUpPart struct {
	Say     string
	Drawing template.HTML
	Note    string
}

func (v fleetView) takeUp(c assets.Conveyor, b assets.Belt, past *Past) *takeUpPart {
	used, known := rules.TravelUsedM(b, past.Findings)
	if !known || c.TakeUpTravelM <= 0 || b.ID == 0 {
		return nil
	}
	t := &takeUpPart{Say: "Take-up travel", Note: "How many re-splices this leaves is not known: give the splices their finger or step lengths."}
	say := v.f.Travel(used) + " of " + v.f.Travel(c.TakeUpTravelM)
	if left, ok := rules.ResplicesLeft(c, b, v.live(c.ID), past.Findings); ok {
		t.Say = Capital(Count(left, "re-splice", "re-splices")) + " left in the take-up"
		t.Note = "Each shortens the loop and brings the take-up back towards its new-belt end by half of that. After them an insert piece or a new belt is needed."
	}
	t.Note = Capital(say) + " used. " + t.Note
	t.Drawing = drawing.OfTakeUp(drawing.TakeUp{Sentence: "Take-up travel: " + say + " used", Used: used / c.TakeUpTravelM,
		UsedSays: "used " + v.f.Travel(used), End: v.f.Travel(c.TakeUpTravelM) + ", end of travel"})
	return t
}

// findingsShown stand open, as many again as findingsKept folded away; the rest is in the report of findings.
const (
	findingsShown = 12
	findingsKept  = 200
)

// findingRows makes rows of findings, from new to old, and cuts them where the page folds.
func (r *Request) findingRows(findings []assets.Finding, people map[int64]string, numbers map[int64]int64) (shown, rest []findingRow) {
	for i, f := range findings[:min(len(findings), findingsKept)] {
		row := r.findingRow(f, people, numbers)
		if i < findingsShown {
			shown = append(shown, row)
		} else {
			rest = append(rest, row)
		}
	}
	return shown, rest
}

func (r *Request) findingRow(f assets.Finding, people map[int64]string, numbers map[int64]int64) findingRow {
	row := findingRow{When: r.F.Date(f.FoundAt), By: pick(f.FoundBy != "", f.FoundBy, people[f.FoundByID]), Where: f.Target,
		What: f.Text, Grade: "not graded", LedWord: "nothing"}
	if row.What == "" {
		row.What = f.Category
	}
	if f.Running != nil {
		row.By += pick(*f.Running, ", running", ", stopped")
	}
	row.Grade = r.graded(f)
	row.Measured = r.measured(f)
	row.Files, _ = r.Link("findings/:finding/files", f.ID)
	switch {
	case f.FollowUpOrderID != 0 && numbers[f.FollowUpOrderID] != 0:
		n := numbers[f.FollowUpOrderID]
		row.Led, row.LedWord = &Link{Word: fmt.Sprintf("order %d", n), To: r.At("orders", n)}, ""
	case f.FollowUpOrderID != 0:
		row.LedWord = "an order, closed"
	case f.RefusedBy != 0:
		row.LedWord = "refused by " + people[f.RefusedBy] + ": " + f.RefusedWhy
	}
	return row
}

// measured writes a finding's measurement; lengths are kept in metres and read in the plant's unit.
func (r *Request) measured(f assets.Finding) string {
	if f.Measurement == nil {
		return ""
	}
	return f.Quantity + " " + r.F.measurement(f)
}

// conveyorSay is the headline: what is worst on this conveyor, two findings at most.
func (v fleetView) conveyorSay(c assets.Conveyor) string {
	b, fitted := v.Register.BeltOn(c.ID, 0)
	live := v.live(c.ID)
	switch {
	case c.Status == assets.ConveyorRetired:
		return c.Tag + " is retired since " + v.f.When(c.Retired)
	case !fitted:
		return c.Tag + " has no belt on it"
	case len(live) == 0:
		return c.Tag + " has a belt since " + v.f.When(b.Fitted) + " and no splice in the records"
	}
	var past, unknown []string
	for _, s := range live {
		st, _ := v.standing(s.ID)
		switch {
		case st.Band.Past():
			past = append(past, s.Number)
		case !st.Age.Known:
			unknown = append(unknown, s.Number)
		}
	}
	worst, st, _ := v.worst(c.ID)
	switch {
	case len(past) == 1:
		return fmt.Sprintf("%s: splice %s is past its %s, at %s%s", c.Tag, worst.Number, pastWord(st), usedOf("", st).Percent(), v.nextSay(c, worst))
	case len(past) > 1:
		return fmt.Sprintf("%s: splices %s are past their best age or rule, splice %s furthest %s", c.Tag, List(past), worst.Number, usedWords(usedOf("", st)))
	case len(unknown) == len(live):
		return fmt.Sprintf("%s: the age of %s is not known, so nothing can be said of when", c.Tag, spliceNames(unknown))
	}
	return v.comingSay(c, worst, st, unknown)
}

func (v fleetView) comingSay(c assets.Conveyor, worst assets.Splice, st due.Standing, unknown []string) string {
	also := ""
	if len(unknown) > 0 {
		also = "; the age of " + spliceNames(unknown) + " is not known"
	}
	first, fst, ok := v.soonest(c.ID)
	if b := v.beltDate(c.ID); b != nil && (!ok || b.Advice.Day < fst.DueDay) {
		return fmt.Sprintf("%s: %s", c.Tag, pick(b.Overdue, "the belt itself is due since ", "the belt itself comes due first, on ")+v.f.PlainDay(b.Advice.Day)+", by a "+b.Advice.By+also)
	}
	if ok {
		return fmt.Sprintf("%s: splice %s %s%s", c.Tag, first.Number, v.dueWords(fst, " first"), also)
	}
	if st.Used.Known {
		return fmt.Sprintf("%s: splice %s is at %s of its %s, no date can be reckoned%s", c.Tag, worst.Number, usedOf("", st).Percent(), pastWord(st), also)
	}
	return c.Tag + ": nothing that binds sets a date for its splices" + v.thumbFirst(c.ID) + also
}

// dueWords says when a splice comes due, by what and where it stands: "comes due on 2 Feb 2027 by its trend, at 83 % of its rule
// now". What is past already is said to be.
func (v fleetView) dueWords(st due.Standing, first string) string {
	say := pick(st.Overdue, "was due", "comes due") + first + pick(first == "", " on ", ", on ") + v.f.PlainDay(st.DueDay)
	if st.By == due.ByTrend || st.By == due.ByFinding {
		say += ", by a " + st.By
	}
	if of := ofItsLimit(st); of != "" {
		say += ", " + of
	}
	return say
}

// thumbFirst says the first day that a rule of thumb names on a conveyor: it binds nothing.
func (v fleetView) thumbFirst(conveyorID int64) string {
	var first assets.Day
	for _, s := range v.live(conveyorID) {
		if st, _ := v.standing(s.ID); st.Hint != nil && st.Hint.Day != "" && (first == "" || st.Hint.Day < first) {
			first = st.Hint.Day
		}
	}
	if first == "" {
		return ""
	}
	return "; a rule of thumb names " + v.f.PlainDay(first)
}

// nextSay adds the next splice that comes due after the one that is past.
func (v fleetView) nextSay(c assets.Conveyor, but assets.Splice) string {
	var best due.Standing
	number := ""
	for _, s := range v.live(c.ID) {
		st, _ := v.standing(s.ID)
		if s.ID != but.ID && st.DueDay != "" && (number == "" || st.DueDay < best.DueDay) {
			best, number = st, s.Number
		}
	}
	if number == "" {
		return ""
	}
	return "; splice " + number + " comes due on " + v.f.PlainDay(best.DueDay)
}

func spliceNames(numbers []string) string {
	if len(numbers) == 1 {
		return "splice " + numbers[0]
	}
	return "splices " + List(numbers)
}

// conveyorSub is scope and belt below the headline.
func (v fleetView) conveyorSub(c assets.Conveyor, orders []workorder.Order) string {
	sub := c.Name
	if line := v.Register.LineName(c); line != "" {
		sub += pick(sub == "", "", ", ") + line
	}
	if b, ok := v.Register.BeltOn(c.ID, 0); ok {
		sub += pick(sub == "", "", ". ") + v.beltWords(b)
		if b.LoopLengthM > 0 {
			sub += ", loop " + v.f.Loop(b.LoopLengthM)
		}
	}
	if len(orders) > 0 {
		sub += ". " + Capital(Count(len(orders), "order is open", "orders are open"))
	}
	return sub + "."
}
