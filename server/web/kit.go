package web

import (
	"cmp"
	"context"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/kit"
	"carryside/schedule/people"
	"carryside/server/web/drawing"
)

// KitBook keeps presses, cutters and their instruments.
type KitBook interface {
	SaveKit(ctx context.Context, act Act, k *assets.Kit) error
	SaveAway(ctx context.Context, act Act, k assets.Kit, a *assets.KitAway) error
	SaveCounter(ctx context.Context, act Act, k assets.Kit, c *assets.KitCounter) error
	// CountKit moves a counter by hand, with a reason.
	CountKit(ctx context.Context, act Act, k assets.Kit, line *assets.KitCount) error
	SaveCalibration(ctx context.Context, act Act, k assets.Kit, c *assets.Calibration) error
	// ChangeParts ends counters of parts taken out, begins those of parts put in and says which pad side is up, in one act,
	// and books what was taken from stock for it.
	ChangeParts(ctx context.Context, scope assets.Scope, act Act, k assets.Kit, change PartsChange) error
	// KitCounts returns most lines of what moved the counters of a piece of kit from one on, the newest first, as looked at from a plant.
	KitCounts(ctx context.Context, scope assets.Scope, plantID, kitID int64, from, most int) (CountBook, error)
}

// PartsChange is what is done to the parts of a piece of kit at once.
type PartsChange struct {
	End   []kit.Counter // taken out, with Why
	Why   string
	Begin []assets.KitCounter
	Up    []kit.Counter // whose InUse is as it is to be
	Stock []assets.StockMovement
}

// KitRoom is the kit a plant may use.
type KitRoom struct {
	Kit          []assets.Kit
	Counters     map[int64][]kit.Counter // by kit, those no longer fitted too
	Aways        map[int64][]assets.KitAway
	Calibrations map[int64][]assets.Calibration
	Jobs         map[int64][]KitJob // by kit, in order of time
}

// KitJob is work a piece of kit is placed on.
type KitJob struct {
	From, To assets.Instant
	Number   int64
	Where    string // "Q3"; "" at a plant that whoever asks may not see
	Here     bool   // at the plant looked at
	Hidden   bool   // of a plant outside the scope: not free then
}

// Of returns a piece of kit of the room.
func (k *KitRoom) Of(id int64) (assets.Kit, bool) {
	i := slices.IndexFunc(k.Kit, func(x assets.Kit) bool { return x.ID == id })
	if i < 0 {
		return assets.Kit{}, false
	}
	return k.Kit[i], true
}

// jobs are the planned jobs of a piece of kit that its counters are reckoned against.
func (k *KitRoom) jobs(id int64, zone *time.Location) []kit.Job {
	var out []kit.Job
	for _, j := range k.Jobs[id] {
		if !j.Hidden {
			out = append(out, kit.Job{Number: j.Number, Day: assets.DayOf(j.From.Time().In(zone))})
		}
	}
	return out
}

type whereLine struct{ Name, To, Says string }

type counterRow struct {
	Kit, To, Part, Count, Limit, Class, Says, Calibration string
	Used                                                  template.HTML
	Bad, CalibrationBad                                   bool
}

type padRow struct{ Drawing template.HTML }

func (r *Request) storesKit(p *storesPage, room *Room, kits *KitRoom) {
	p.Where, p.Places = r.whereabouts(kits)
	for _, k := range kits.Kit {
		p.Counters = append(p.Counters, r.counterRows(k, kits, room.Today)...)
		p.Pads = append(p.Pads, r.pads(k, kits)...)
		p.Decide = append(p.Decide, r.kitNotes(k, kits, room.Today)...)
	}
}

// whereabouts draws where kit is in the coming weeks, with the same facts in words.
func (r *Request) whereabouts(kits *KitRoom) (template.HTML, []whereLine) {
	w := drawing.Whereabouts{Sentence: "Where each piece of kit is now and next; the same facts stand below", From: r.Now, To: r.Now.AddDate(0, 0, 100), Zone: r.F.zone()}
	var lines []whereLine
	for _, k := range kits.Kit {
		if kit.Measures(k.Class) {
			continue
		}
		row := drawing.WhereRow{Name: k.Name, Note: r.kitNote(k), Home: homeWords(k, r.PlantID()), Lent: k.HiredFrom != ""}
		says, now := []string{Capital(row.Home)}, assets.InstantOf(r.Now)
		if slices.ContainsFunc(kits.Aways[k.ID], func(a assets.KitAway) bool { return a.Holds(now) }) {
			says = nil
		}
		for _, a := range kits.Aways[k.ID] {
			sp := drawing.WhereSpan{From: a.FromAt.Time(), To: w.To, Kind: drawing.AtCheck, Words: string(a.Why)}
			until := "until further notice"
			if a.ToAt != 0 {
				sp.To, until = a.ToAt.Time(), "to "+r.F.Date(a.ToAt)
			}
			if a.Why == assets.AwayOwner || a.Why == assets.AwayLoan {
				sp.Kind = drawing.NotFree
			}
			row.Spans = append(row.Spans, sp)
			says = append(says, "away for "+string(a.Why)+" "+r.F.Date(a.FromAt)+" "+until)
		}
		for _, j := range kits.Jobs[k.ID] {
			sp := drawing.WhereSpan{From: j.From.Time(), To: j.To.Time(), Words: strconv.FormatInt(j.Number, 10)}
			say := strconv.FormatInt(j.Number, 10) + " on " + r.F.Date(j.From)
			if j.Where != "" {
				say += " (" + j.Where + ")"
			}
			if j.Hidden {
				sp.Kind, sp.Words, say = drawing.NotFree, "not free", "not free "+r.F.Stamp(j.From)+" to "+r.F.Stamp(j.To)
			}
			row.Spans = append(row.Spans, sp)
			says = append(says, say)
		}
		slices.SortStableFunc(row.Spans, func(a, b drawing.WhereSpan) int { return a.From.Compare(b.From) })
		w.Rows = append(w.Rows, row)
		lines = append(lines, whereLine{Name: k.Name, To: r.At("stores/kit", k.ID), Says: Capital(strings.Join(says, "; ")) + "."})
	}
	if len(lines) == 0 {
		return "", nil
	}
	return drawing.OfWhereabouts(w), lines
}

func (r *Request) kitNote(k assets.Kit) string {
	note := string(k.Class)
	if k.WorkingWidthM > 0 {
		note = r.F.Width(k.WorkingWidthM)
	}
	return note + pick(k.HiredFrom != "", ", on loan", pick(k.CustomerID == 0, ", shared", ""))
}

func homeWords(k assets.Kit, plantID int64) string {
	switch {
	case k.HiredFrom != "":
		return "with its owner"
	case k.HomePlantID == plantID:
		return "workshop"
	}
	return "depot"
}

// counterRows are the counters in use of a piece of kit, and its calibration beside the first.
func (r *Request) counterRows(k assets.Kit, kits *KitRoom, today assets.Day) []counterRow {
	var out []counterRow
	jobs := kits.jobs(k.ID, r.F.zone())
	for _, c := range kits.Counters[k.ID] {
		if c.EndedAt != 0 {
			continue
		}
		row := counterRow{Kit: k.Name, To: r.At("stores/kit", k.ID), Part: counterName(c), Count: With(Short(c.Count, 1), c.Counts.Unit()), Bad: c.Spent()}
		if c.Limit > 0 {
			row.Limit, row.Class = Short(c.Limit, 0), string(c.Class)
			row.Used = drawing.UsedBar(c.Used(), Short(c.Count, 0)+" of "+Short(c.Limit, 0))
		}
		row.Says = counterWords(c, c.Last(jobs))
		if c.Counts.PadSide() != "" && !c.InUse {
			row.Says = pick(c.Spent(), "spent", "not up: "+Short(c.Left(), 0)+" left")
		}
		out = append(out, row)
	}
	calibration, bad := r.calibrationWords(k, kits, today)
	if len(out) == 0 && calibration != "" {
		out = append(out, counterRow{Kit: k.Name, To: r.At("stores/kit", k.ID), Part: string(k.Class)})
	}
	if len(out) > 0 {
		out[0].Calibration, out[0].CalibrationBad = calibration, bad
	}
	return out
}

func counterName(c kit.Counter) string {
	name := string(c.Counts)
	if side := c.Counts.PadSide(); side != "" {
		name = "side " + side + pick(c.InUse, ", up", "")
	}
	if c.Part != "" {
		return c.Part + ", " + name
	}
	return name
}

// calibrationWords says when a piece of kit, or what measures on it, is due.
func (r *Request) calibrationWords(k assets.Kit, kits *KitRoom, today assets.Day) (say string, bad bool) {
	var parts []string
	for _, of := range kits.Kit {
		if of.ID != k.ID && of.GoesWithID != k.ID {
			continue
		}
		d := kit.CalibrationDue(kits.Calibrations[of.ID], today)
		name := pick(of.ID == k.ID, "", of.Name+" ")
		switch {
		case d.Last == nil && kit.Measures(of.Class):
			parts, bad = append(parts, name+"no calibration on record"), true
		case d.Last == nil:
		case d.Day == "":
			parts = append(parts, name+"no next date")
		case d.Overdue:
			parts, bad = append(parts, name+"overdue since "+r.F.PlainDay(d.Day)), true
		default:
			parts = append(parts, name+r.F.PlainDay(d.Day)+pick(d.Seen, "", ", certificate not seen"))
			bad = bad || !d.Seen
		}
	}
	return strings.Join(parts, "; "), bad
}

func (r *Request) pads(k assets.Kit, kits *KitRoom) []padRow {
	up, other, ok := kit.Side(kits.Counters[k.ID])
	if !ok {
		return nil
	}
	a, b := up, other
	if up.Counts == assets.WearPadCutsB {
		a, b = other, up
	}
	words := func(c kit.Counter) string {
		return Short(c.Count, 0) + " of " + Short(c.Limit, 0) + pick(c.Spent(), ", spent", pick(c.InUse, ", up", ""))
	}
	head := Capital(up.Part) + ", in " + k.Name
	return []padRow{{drawing.PadSides(head+": side A "+words(a)+", side B "+words(b), head, a.Used(), b.Used(), words(a), words(b))}}
}

// kitNotes are what a person has to decide about a piece of kit: it is away or not in use on a job's day, or spent.
func (r *Request) kitNotes(k assets.Kit, kits *KitRoom, today assets.Day) []stockNote {
	var out []stockNote
	for _, j := range kits.Jobs[k.ID] {
		if j.Hidden || !j.Here {
			continue
		}
		for _, a := range kits.Aways[k.ID] {
			if a.FromAt < j.To && (a.ToAt == 0 || a.ToAt > j.From) {
				out = append(out, stockNote{Head: k.Name + " decides order " + strconv.FormatInt(j.Number, 10),
					Says: "It is away for " + string(a.Why) + " from " + r.F.Date(a.FromAt) + pick(a.ToAt == 0, " until further notice", " to "+r.F.Date(a.ToAt)) + ", and the order's stop is on " + r.F.Date(j.From) + ". Move one of the two, or take another piece."})
			}
		}
		if day := assets.DayOf(j.From.Time().In(r.F.zone())); !k.InUse(day) {
			out = append(out, stockNote{Head: k.Name + " is not in use on the day of order " + strconv.FormatInt(j.Number, 10), Says: "Take another piece for it."})
		}
	}
	for _, c := range kits.Counters[k.ID] {
		if c.EndedAt == 0 && c.Spent() && c.Moves() {
			out = append(out, stockNote{Head: k.Name + ": " + counterName(c) + " is at its limit", Says: Short(c.Count, 0) + " of " + Short(c.Limit, 0) + " " + c.Counts.Unit() + ", class " + string(c.Class) + ". Change the part, or say on its page why it stays."})
		}
	}
	return out
}

// kitPage answers: what is this piece of kit, where is it, what has it done and what is due on it?
type kitPage struct {
	Page
	Facts        []fact
	Where        template.HTML
	Says         string
	Counters     []kitCounterRow
	Parts        []kitCounterRow // no longer fitted
	Counts       []countRow
	Pager        Pager
	Calibrations []calibrationRow
	Aways        []awayRow
}

type kitCounterRow struct {
	Name, Count, Limit, Class, Says, CountTo, LimitTo string
	Used                                              template.HTML
	Bad                                               bool
}

type countRow struct{ When, What, Quantity, By, Why, Order, OrderTo string }

type calibrationRow struct{ On, Due, Certificate, For, Class string }

type awayRow struct{ From, To, Why, Where, Change string }

// kitAsked reads the piece of kit an address names, among those the plant may use.
func (s *Site) kitAsked(r *Request) (assets.Kit, *KitRoom, error) {
	id, err := r.ID("kit")
	if err != nil {
		return assets.Kit{}, nil, err
	}
	kits, err := s.StoreBook.KitRoom(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return assets.Kit{}, nil, err
	}
	k, ok := kits.Of(id)
	if !ok {
		return k, nil, assets.ErrNotFound
	}
	return k, kits, nil
}

// mayKeep tells whether whoever asks may change a piece of kit: that of the plant's customer at home here by a grant at the
// plant, what is shared by a grant for all.
func (r *Request) mayKeep(k assets.Kit) bool {
	if k.CustomerID == r.Plant.Plant.CustomerID && k.HomePlantID == r.PlantID() && r.May(people.KeepStores) {
		return true
	}
	return r.forAll(people.KeepStores)
}

// forAll tells whether a grant for all plants allows a deed.
func (r *Request) forAll(d people.Deed) bool {
	return slices.ContainsFunc(r.Who.Grants, func(g assets.Grant) bool {
		return g.KnownTo == nil && g.CustomerID == 0 && g.PlantID == 0 && people.May(g.Role, d)
	})
}

func (s *Site) kitOne(r *Request) error {
	k, kits, err := s.kitAsked(r)
	if err != nil {
		return err
	}
	from := r.firstRow()
	book, err := s.StoreBook.KitCounts(r.Context(), r.Scope, r.PlantID(), k.ID, from, rowsAPage)
	if err != nil {
		return err
	}
	today := r.F.Today()
	p := &kitPage{}
	p.Sheet, p.Say = "Kit", kitSay(r, k, kits, today)
	p.Sub = Capital(r.kitNote(k)) + ". Counters are moved by signed jobs, by hand only with a reason."
	if k.HomePlantID == 0 && slices.ContainsFunc(kits.Counters[k.ID], func(c kit.Counter) bool { return c.Spent() && c.Moves() }) {
		p.Sub += " It is due for service, at the depot: the order for it is raised at the plant whose job reached the limit, if its rules watch kit."
	}
	r.kitOffers(&p.Page, k)
	p.Facts = r.kitFacts(k, kits)
	one := *kits
	one.Kit = []assets.Kit{k}
	var lines []whereLine
	if p.Where, lines = r.whereabouts(&one); len(lines) > 0 {
		p.Says = lines[0].Says
	}
	for _, c := range kits.Counters[k.ID] {
		row := r.kitCounter(k, c, kits)
		if c.EndedAt == 0 {
			p.Counters = append(p.Counters, row)
		} else {
			p.Parts = append(p.Parts, row)
		}
	}
	p.Counts, p.Pager = r.countRows(book, kits.Counters[k.ID]), r.pagerFrom(from, len(book.Lines), book.All)
	for _, c := range kits.Calibrations[k.ID] {
		p.Calibrations = append(p.Calibrations, calibrationRow{r.F.PlainDay(c.OnDay), r.F.PlainDay(c.DueDay), cmp.Or(c.Certificate, "not seen"), c.CalibratedFor, string(c.Class)})
	}
	for _, a := range kits.Aways[k.ID] {
		row := awayRow{From: r.F.Stamp(a.FromAt), To: "until further notice", Why: string(a.Why), Where: a.Where}
		if a.ToAt != 0 {
			row.To = r.F.Stamp(a.ToAt)
		}
		if r.mayKeep(k) {
			row.Change = r.At("stores/kit", k.ID, "away") + "?away=" + strconv.FormatInt(a.ID, 10)
		}
		p.Aways = append(p.Aways, row)
	}
	return r.Show("kit", p)
}

func (r *Request) kitOffers(p *Page, k assets.Kit) {
	if !r.mayKeep(k) {
		if k.Class == assets.KitCutter {
			r.Offer(p, "It does not cut through", "stores/kit/:kit/cutter", true, k.ID)
		}
		return
	}
	r.Offer(p, "Change it", "stores/kit/:kit/edit", false, k.ID)
	r.Offer(p, "It is away", "stores/kit/:kit/away", false, k.ID)
	r.Offer(p, "Add a counter", "stores/kit/:kit/counter", false, k.ID)
	r.Offer(p, "Enter a calibration", "stores/kit/:kit/calibration", kit.Measures(k.Class), k.ID)
	if k.Class == assets.KitCutter {
		r.Offer(p, "It does not cut through", "stores/kit/:kit/cutter", true, k.ID)
	}
}

// kitSay is the headline: the worst of limit, calibration and absence, else that nothing is due.
func kitSay(r *Request, k assets.Kit, kits *KitRoom, today assets.Day) string {
	for _, c := range kits.Counters[k.ID] {
		if c.EndedAt == 0 && c.Spent() && c.Moves() {
			return k.Name + " is past its limit of " + Short(c.Limit, 0) + " " + string(c.Counts)
		}
	}
	if say, bad := r.calibrationWords(k, kits, today); bad {
		return k.Name + ": " + say
	}
	now := assets.InstantOf(r.Now)
	for _, a := range kits.Aways[k.ID] {
		if a.Holds(now) {
			return k.Name + " is away for " + string(a.Why)
		}
	}
	for _, j := range kits.Jobs[k.ID] {
		if !j.Hidden && j.From > now {
			return k.Name + " is next needed for order " + strconv.FormatInt(j.Number, 10) + " on " + r.F.Date(j.From)
		}
	}
	return "Nothing is due on " + k.Name
}

func (r *Request) kitFacts(k assets.Kit, kits *KitRoom) []fact {
	facts := []fact{{"What it is", string(k.Class)}}
	add := func(term, says string) {
		if says != "" {
			facts = append(facts, fact{term, says})
		}
	}
	add("Whose", pick(k.HiredFrom != "", "lent by "+k.HiredFrom, pick(k.CustomerID == 0, "the service company's, shared", "the plant's own")))
	add("At home", homeWords(k, r.PlantID()))
	if k.WorkingWidthM > 0 {
		add("Working width", r.F.Width(k.WorkingWidthM))
	}
	if k.MaxTemperatureC > 0 {
		add("Highest temperature", r.F.Heat(k.MaxTemperatureC))
	}
	add("Serial number", k.Serial)
	add("Goes along with crews", pick(k.Mobile, "yes", "no"))
	if with, ok := kits.Of(k.GoesWithID); ok {
		add("Fitted to", with.Name)
	}
	if k.InUseFromDay != "" {
		add("In use from", r.F.PlainDay(k.InUseFromDay))
	}
	if k.InUseUntilDay != "" {
		add("In use until", r.F.PlainDay(k.InUseUntilDay))
	}
	add("Remark", k.Remark)
	return facts
}

func (r *Request) kitCounter(k assets.Kit, c kit.Counter, kits *KitRoom) kitCounterRow {
	row := kitCounterRow{Name: counterName(c), Count: With(Short(c.Count, 1), c.Counts.Unit()), Bad: c.Spent() && c.EndedAt == 0}
	if c.Limit > 0 {
		row.Limit, row.Class = Short(c.Limit, 0), string(c.Class)+pick(c.Source != "", ", "+c.Source, "")
		row.Used = drawing.UsedBar(c.Used(), Short(c.Count, 0)+" of "+Short(c.Limit, 0))
	}
	if c.EndedAt != 0 {
		row.Says = "taken out " + r.F.Date(c.EndedAt) + ": " + c.EndedWhy
		return row
	}
	row.Says = counterWords(c, c.Last(kits.jobs(k.ID, r.F.zone())))
	if r.mayKeep(k) {
		row.CountTo, row.LimitTo = r.At("stores/kit", k.ID, "counters", c.ID), r.At("stores/kit", k.ID, "counter")+"?counter="+strconv.FormatInt(c.ID, 10)
	}
	return row
}

func (r *Request) countRows(book CountBook, counters []kit.Counter) []countRow {
	var out []countRow
	for _, n := range book.Lines {
		row := countRow{When: r.F.Stamp(n.At), Quantity: Short(n.Quantity, 1), By: book.People[n.PersonID], Why: n.Reason}
		if n.Quantity > 0 {
			row.Quantity = "+" + row.Quantity
		}
		if number := book.Orders[n.OrderID]; number != 0 {
			row.Order, row.OrderTo = "order "+plainInt(number), r.At("orders", number)
		} else if n.OrderID != 0 {
			row.Why = strings.TrimPrefix(row.Why+"; a signed job", "; ")
		}
		for _, c := range counters {
			if c.ID == n.CounterID {
				row.What = counterName(c)
			}
		}
		out = append(out, row)
	}
	return out
}
