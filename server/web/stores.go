package web

import (
	"cmp"
	"context"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/kit"
	"carryside/schedule/people"
	"carryside/schedule/stock"
	"carryside/server/web/drawing"
)

// StoreBook is what the pages of stores and kit need.
type StoreBook interface {
	// Room returns the storeroom of a plant, worked out. assets.ErrNotFound outside the scope.
	Room(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*Room, error)
	// KitRoom returns the kit a plant may use, with counters, calibrations and where it is in the coming weeks. Work at
	// plants outside the scope is there without place and order.
	KitRoom(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*KitRoom, error)
	// Ledger returns most lines (0: all) of a plant's ledger of an item (0: of all) from one on, the newest first, with the names and orders in them.
	Ledger(ctx context.Context, scope assets.Scope, plantID, itemID int64, from, most int) (*Ledger, error)
	// StoreItem returns an item of the list.
	StoreItem(ctx context.Context, scope assets.Scope, id int64) (assets.StockItem, error)
	// StoreLot returns a lot with what is on hand of it.
	StoreLot(ctx context.Context, scope assets.Scope, id int64) (stock.Lot, error)
	// StoreSupply returns an order to a supplier.
	StoreSupply(ctx context.Context, scope assets.Scope, id int64) (assets.SupplyOrder, error)
	// StorePolicy returns how an item is kept at a plant, one without a number where nothing is said.
	StorePolicy(ctx context.Context, scope assets.Scope, plantID, itemID int64) (assets.StockPolicy, error)

	SaveStoreItem(ctx context.Context, act Act, item *assets.StockItem) error
	SavePolicy(ctx context.Context, scope assets.Scope, act Act, p *assets.StockPolicy) error
	SaveLot(ctx context.Context, scope assets.Scope, act Act, l *assets.StockLot) error
	// Book writes the lines of one act.
	Book(ctx context.Context, scope assets.Scope, act Act, plantID int64, lines []assets.StockMovement) error
	// PutAside books a quantity out of a lot into a new one, at the same place (an offcut) or at another plant (a move).
	PutAside(ctx context.Context, scope assets.Scope, act Act, from stock.Lot, into *assets.StockLot, q assets.Quantity, why assets.MovementWhy, at assets.Instant) error
	// Receive books a delivery; supply is nil where none was on order.
	Receive(ctx context.Context, scope assets.Scope, act Act, supply *assets.SupplyOrder, lot *assets.StockLot, q assets.Quantity, at assets.Instant) error
	SaveSupply(ctx context.Context, scope assets.Scope, act Act, s *assets.SupplyOrder) error

	// Depot returns what lies in the service company's own depot with most lines of its ledger from one on. assets.ErrNotFound for a scope that
	// does not reach everything.
	Depot(ctx context.Context, scope assets.Scope, from, most int) (*Depot, error)
	// BookDepot writes lines of the depot's ledger; with a new lot the first line is what was delivered into it.
	BookDepot(ctx context.Context, scope assets.Scope, act Act, lot *assets.StockLot, lines []assets.StockMovement) error

	KitBook
}

// Room is the storeroom of a plant.
type Room struct {
	Today     assets.Day
	Items     []assets.StockItem
	Outlooks  []stock.Outlook // of what is kept, needed or on hand
	Supplies  []assets.SupplyOrder
	Movements int64            // lines of the plant's ledger
	Unsaid    int64            // those without an order or reason where one is due, or without a person
	Adrift    int64            // items whose lots and lines do not agree; 0 as it must be
	Counted   assets.Instant   // when something was counted last; 0: never
	Demand    *stock.Demand    // what the figures rest on
	Orders    map[int64]string // titles of open orders by number: "Q3, remake splice 2"
}

// CountBook is lines of what moved the counters of a piece of kit, with what they name.
type CountBook struct {
	Lines  []assets.KitCount
	All    int // lines there are, of which these are a part
	People map[int64]string
	Orders map[int64]int64 // number of an order of the plant looked from by its ID
}

// Ledger is lines with what they name.
type Ledger struct {
	Lines  []assets.StockMovement
	All    int // lines there are, of which these are a part
	Lots   map[int64]assets.StockLot
	Items  map[int64]assets.StockItem
	People map[int64]string
	Orders map[int64]int64 // number of an order by its ID
}

func (r *Room) outlook(itemID int64) (stock.Outlook, bool) {
	i := slices.IndexFunc(r.Outlooks, func(o stock.Outlook) bool { return o.Item.ID == itemID })
	if i < 0 {
		return stock.Outlook{}, false
	}
	return r.Outlooks[i], true
}

// storesPage answers: has every placed order its stock and its kit, what must be ordered by when, and what waits for it?
type storesPage struct {
	Page
	Empty     *Empty
	Shelf     template.HTML
	Lots      []lotRow
	Orders    []orderNow
	OrderHead string
	Above     string
	Where     template.HTML
	Places    []whereLine
	Decide    []stockNote
	Metre     []metreRow
	ByLength  string // the headline above them
	Pads      []padRow
	Pieces    []pieceRow
	Others    []otherRow
	Supplies  []supplyRow
	Balance   string
	LedgerTo  string
	Counters  []counterRow
	Services  string
}

type lotRow struct {
	Lot, To, What, Left, GoodTo, Takers string
	Bad                                 bool
}

type orderNow struct {
	What, When, Arrives, Waiting string
	Links                        []Link
	Below, Do, DoTo              string
	Main                         bool
}

type stockNote struct{ Head, Says string }

type metreRow struct {
	Head, To     string
	Wide, Narrow template.HTML
}

type pieceRow struct {
	Name, To, Says string
	Drawing        template.HTML
}

type otherRow struct {
	Name, To, Kind, OnHand, Held, Coming, Point, Says string
	Bad                                               bool
}

type supplyRow struct {
	Number, What, Quantity, Expected, From, State, To string
	Late                                              bool
}

// nearDays is how far ahead 'order now' looks.
const nearDays = 60

func (s *Site) stores(r *Request) error {
	room, err := s.StoreBook.Room(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	kits, err := s.StoreBook.KitRoom(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	p := &storesPage{}
	p.Sheet = "Stores and kit"
	p.Say = storesSay(r, room)
	p.Sub = storesSub(room, kits)
	r.Offer(&p.Page, "The depot", "stores/depot", false)
	r.Offer(&p.Page, "Cut rolls", "stores/cutting", false)
	r.Offer(&p.Page, "Add an item", "stores/items/new", false)
	r.Offer(&p.Page, "Add kit", "stores/kit/new", false)
	if len(room.Outlooks) > 0 {
		r.Offer(&p.Page, "Count a shelf", "stores/count", false)
	}
	r.Offer(&p.Page, "Book a delivery", "stores/receive", true)
	if len(room.Outlooks) == 0 && len(kits.Kit) == 0 {
		p.Empty = &Empty{What: "Nothing is kept here yet", Why: "Work at a belt needs cloth, blades and a press at the conveyor on the day. Add the items the plant keeps and book what lies on the shelf; then each placed order holds its own.", Do: p.Do}
		return r.Show("stores", p)
	}
	r.storesStock(p, room)
	r.storesKit(p, room, kits)
	return r.Show("stores", p)
}

// storesSay is the headline: which orders lack stock, and what must be ordered first.
func storesSay(r *Request, room *Room) string {
	var lacking []int64
	var first *stock.Outlook
	for i, o := range room.Outlooks {
		for _, h := range o.Wait {
			if h.Placed && !slices.Contains(lacking, h.Number) {
				lacking = append(lacking, h.Number)
			}
		}
		if o.OrderDay != "" && o.OrderDay <= room.Today.AddDays(nearDays) && (first == nil || o.OrderDay < first.OrderDay) {
			first = &room.Outlooks[i]
		}
	}
	slices.Sort(lacking)
	say := "Every placed order has its stock"
	switch {
	case len(room.Outlooks) == 0:
		return "No stock is kept here yet"
	case len(lacking) == 1:
		say = fmt.Sprintf("Order %d lacks stock on its day", lacking[0])
	case len(lacking) > 1:
		say = Capital(Count(len(lacking), "placed order lacks", "placed orders lack")) + " stock on their day"
	}
	switch {
	case first == nil:
		return say + "; nothing has to be ordered soon"
	case first.OrderDay <= room.Today:
		return say + "; " + lower(first.Item.Name) + " must be ordered now"
	}
	return say + "; " + lower(first.Item.Name) + " must be ordered by " + r.F.LongDay(first.OrderDay)
}

func storesSub(room *Room, kits *KitRoom) string {
	lots := 0
	for _, o := range room.Outlooks {
		lots += len(o.Lots)
	}
	return Figure(len(room.Outlooks), "item", "items") + " in " + Figure(lots, "lot", "lots") + ", " + Figure(len(kits.Kit), "piece of kit", "pieces of kit") + ". What placed orders take is held for them, the lot that goes out of date first before the others."
}

func (r *Request) storesStock(p *storesPage, room *Room) {
	p.Shelf, p.Lots = r.shelf(room)
	p.Orders = r.ordersNow(room)
	p.OrderHead = "Nothing to order"
	if n := len(p.Orders); n > 0 {
		p.OrderHead = "Order now or soon, " + strconv.Itoa(n)
	}
	p.Above = aboveWords(room)
	p.ByLength = pick(r.F.us(), "By the foot", "By the metre")
	for _, o := range room.Outlooks {
		to := r.At("stores/items", o.Item.ID)
		switch {
		case o.Item.InCuts() && len(o.Lots) > 0:
			p.Metre = append(p.Metre, r.metre(o, to)...)
		case o.Item.Unit == assets.UnitPiece && o.OnHand > 0 && o.OnHand <= 40000:
			p.Pieces = append(p.Pieces, r.pieces(o, to))
		}
		p.Others = append(p.Others, r.other(o, to))
	}
	for _, so := range room.Supplies {
		p.Supplies = append(p.Supplies, r.supplyRow(so, room))
	}
	p.Balance = "Every line of the ledger has its order or its reason and its person: " + Figure(int(room.Movements), "line", "lines") + ", and the lots hold what they add up to."
	if room.Unsaid > 0 {
		p.Balance = "The lots hold what the ledger adds up to: " + Figure(int(room.Movements), "line", "lines") + ", of which " + Figure(int(room.Unsaid), "names", "name") + " nobody who booked it, or neither an order nor a reason."
	}
	if room.Adrift > 0 {
		p.Balance = "The ledger does not add up for " + Figure(int(room.Adrift), "item", "items") + ". Run carryside verify and count those shelves."
	}
	if room.Counted != 0 {
		p.Balance += " Counted last on " + r.F.Date(room.Counted) + "."
	}
	p.LedgerTo = r.At("stores/ledger")
}

// shelf draws the lots that age, with the same facts as rows.
func (r *Request) shelf(room *Room) (template.HTML, []lotRow) {
	strip := drawing.ShelfStrip{Sentence: "Lots by shelf life against the stops of the orders that take from them; the same facts stand in the table below",
		From: r.Now.AddDate(0, 0, -14), To: r.Now.AddDate(0, 6, 0), Now: r.Now, Zone: r.F.zone()}
	var rows []lotRow
	for _, o := range room.Outlooks {
		if len(o.Lots) == 0 || !slices.ContainsFunc(o.Lots, func(l stock.Lot) bool { return l.GoodUntil != "" }) {
			continue
		}
		g := drawing.ShelfGroup{Name: o.Item.Name}
		for i, l := range o.Lots {
			lot := drawing.ShelfLot{Words: "lot " + l.Lot + ", " + r.quantity(o.Item, l.OnHand), Until: r.dayAt(l.GoodUntil), UntilWords: goodTo(r, l)}
			row := lotRow{Lot: l.Lot, To: r.At("stores/items", o.Item.ID), What: o.Item.Name, Left: r.quantity(o.Item, l.OnHand), GoodTo: goodTo(r, l), Bad: !l.Fit(room.Today)}
			var takers []string
			for _, h := range o.Held {
				for _, t := range h.Takes {
					if t.LotID == l.ID {
						lot.Takes = append(lot.Takes, drawing.ShelfTake{At: r.dayAt(h.Day)})
						takers = append(takers, fmt.Sprintf("%d: %s", h.Number, r.quantity(o.Item, t.Quantity)))
					}
				}
				if h.Short > 0 && i == len(o.Lots)-1 {
					lot.Takes = append(lot.Takes, drawing.ShelfTake{At: r.dayAt(h.Day), Missing: true, Words: fmt.Sprintf("%d: %s lacking", h.Number, r.quantity(o.Item, h.Short))})
				}
			}
			row.Takers = strings.Join(takers, ", ")
			if why := l.Why(room.Today); why != "" {
				row.Takers = strings.TrimPrefix(row.Takers+"; "+why+": write it off", "; ")
			}
			g.Lots = append(g.Lots, lot)
			rows = append(rows, row)
		}
		strip.Groups = append(strip.Groups, g)
		for _, h := range o.Held {
			if h.Placed {
				strip.Stops = append(strip.Stops, drawing.ShelfStop{At: r.dayAt(h.Day), Words: strconv.FormatInt(h.Number, 10)})
			}
		}
	}
	slices.SortFunc(strip.Stops, func(a, b drawing.ShelfStop) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Words, b.Words)) })
	strip.Stops = slices.Compact(strip.Stops)
	if len(rows) == 0 {
		return "", nil
	}
	return drawing.OfShelf(strip), rows
}

func goodTo(r *Request, l stock.Lot) string {
	if l.GoodUntil == "" {
		return "does not age"
	}
	return "good to " + r.F.PlainDay(l.GoodUntil)
}

// dayAt is noon of a day, for a place in a drawing; the zero time for no day.
func (r *Request) dayAt(d assets.Day) time.Time {
	t, err := d.Midnight(r.F.zone())
	if d == "" || err != nil {
		return time.Time{}
	}
	return t.Add(12 * time.Hour)
}

// quantity writes an amount of an item with its unit.
func (r *Request) quantity(item assets.StockItem, q assets.Quantity) string {
	if field := stockField(item.Unit); field != nil && r.F.us() {
		return field.Show(q.Float(), r.F.Units)
	}
	word := string(item.Unit)
	if (item.Unit == assets.UnitPiece || item.Unit == assets.UnitSet) && q != 1000 && q != -1000 {
		word += "s"
	}
	return With(Short(q.Float(), 3), word)
}

// stockField is how a unit of stock is typed and shown in US units; nil where the two do not differ.
func stockField(u assets.StockUnit) *unit.Field {
	switch u {
	case assets.UnitMetre:
		return &unit.Distance
	case assets.UnitSquareM:
		return &unit.SurfaceArea
	case assets.UnitKilogram:
		return &unit.BeltMass
	}
	return nil
}

// ordersNow lists what to order within the coming weeks, the most urgent first.
func (r *Request) ordersNow(room *Room) []orderNow {
	var due []stock.Outlook
	for _, o := range room.Outlooks {
		if o.OrderDay != "" && o.OrderDay <= room.Today.AddDays(nearDays) {
			due = append(due, o)
		}
	}
	slices.SortStableFunc(due, func(a, b stock.Outlook) int { return cmp.Compare(a.OrderDay, b.OrderDay) })
	out := make([]orderNow, 0, len(due))
	for i, o := range due {
		out = append(out, r.orderNow(o, room, i == 0))
	}
	return out
}

func (r *Request) orderNow(o stock.Outlook, room *Room, main bool) orderNow {
	l := orderNow{What: o.Item.Name + ", " + r.quantity(o.Item, o.Order), Main: main, Arrives: Figure(o.Keeping.LeadTimeDays, "day", "days") + " to arrive."}
	l.When = "now"
	if o.OrderDay > room.Today {
		l.When = "by " + r.F.PlainDay(o.OrderDay)
	}
	for _, h := range o.Wait {
		l.Links = append(l.Links, Link{Word: fmt.Sprintf("%d (%s, %s)", h.Number, r.quantity(o.Item, h.Short), r.F.PlainDay(h.Day)), To: r.At("orders", h.Number)})
	}
	if len(o.Wait) == 0 {
		l.Waiting = "Waiting: nothing yet."
	}
	if o.Below {
		l.Below = r.quantity(o.Item, o.OnHand+o.Coming) + " here or coming, below the reorder point of " + r.quantity(o.Item, o.Level.Point) + "."
	} else if o.LowDay != "" {
		l.Below = "On " + r.F.PlainDay(o.LowDay) + " too little would be left."
	}
	if to, ok := r.Link("stores/items/:item/order", o.Item.ID); ok {
		l.Do, l.DoTo = "Order "+r.quantity(o.Item, o.Order), to
	}
	return l
}

// aboveWords says how many items are above their reorder points and how many keep a spare.
func aboveWords(room *Room) string {
	above, critical := 0, 0
	for _, o := range room.Outlooks {
		if !o.Below {
			above++
		}
		if o.Item.Critical {
			critical++
		}
	}
	say := Capital(Count(above, "item is", "items are")) + " at or above the reorder point."
	if critical > 0 {
		say += " One spare stays on hand of " + Count(critical, "item this company calls critical", "items this company calls critical") + "."
	}
	return say
}

func (r *Request) metre(o stock.Outlook, to string) []metreRow {
	var out []metreRow
	scale, unit := 1.0, "m"
	if r.F.us() {
		scale, unit = 1/0.3048, "ft" // the foot is 0.3048 m exactly
	}
	for _, l := range o.Lots {
		roll := drawing.Unrolled{Left: l.OnHand.Float() * scale, Whole: max(l.OnHand.Float(), o.Item.PackQuantity.Float()) * scale, Unit: unit}
		if len(o.Lots) == 1 {
			roll.Point = o.Level.Point.Float() * scale
		}
		var words []string
		for _, h := range o.Held {
			for _, t := range h.Takes {
				if t.LotID == l.ID {
					roll.Cuts = append(roll.Cuts, drawing.RollCut{Length: t.Quantity.Float() * scale, Words: strconv.FormatInt(h.Number, 10), Placed: h.Placed})
					words = append(words, fmt.Sprintf("%s for order %d", r.quantity(o.Item, t.Quantity), h.Number))
				}
			}
		}
		head := o.Item.Name + ", " + pick(l.CutFromID != 0, "offcut ", "roll ") + l.Lot
		if w := cmp.Or(l.WidthM, o.Item.WidthM); w > 0 {
			head += ", " + r.F.Width(w) + " wide"
		}
		head += ": " + r.quantity(o.Item, l.OnHand) + " left"
		roll.Sentence = head
		if len(words) > 0 {
			roll.Sentence += ", " + strings.Join(words, ", ")
		}
		m := metreRow{Head: head, To: to, Wide: drawing.OfUnrolled(roll)}
		roll.Narrow = true
		m.Narrow = drawing.OfUnrolled(roll)
		out = append(out, m)
	}
	return out
}

func (r *Request) pieces(o stock.Outlook, to string) pieceRow {
	held, all := int(o.Reserved/1000), int(o.OnHand/1000)
	p := pieceRow{Name: o.Item.Name + ", " + strconv.Itoa(all), To: to, Says: "none held"}
	if held > 0 {
		p.Says = strconv.Itoa(held) + " held for placed orders"
	}
	p.Drawing = drawing.Strokes(p.Name+": "+p.Says, held, all)
	return p
}

func (r *Request) other(o stock.Outlook, to string) otherRow {
	row := otherRow{Name: o.Item.Name, To: to, Kind: string(o.Item.Kind), OnHand: r.quantity(o.Item, o.OnHand), Held: r.quantity(o.Item, o.Reserved),
		Coming: r.quantity(o.Item, o.Coming), Point: r.quantity(o.Item, o.Level.Point), Bad: o.Below}
	switch {
	case len(o.Wait) > 0:
		row.Says = Figure(len(o.Wait), "order waits", "orders wait")
	case o.Below:
		row.Says = "below the reorder point"
	case o.Unfit > 0:
		row.Says = r.quantity(o.Item, o.Unfit) + " out of date or held back"
	}
	return row
}

func (r *Request) supplyRow(so assets.SupplyOrder, room *Room) supplyRow {
	row := supplyRow{Number: strconv.FormatInt(so.Number, 10), Expected: r.F.PlainDay(so.ExpectedDay), From: so.Supplier, State: string(so.State), Late: so.State == assets.SupplyOrdered && so.ExpectedDay < room.Today}
	for _, it := range room.Items {
		if it.ID == so.ItemID {
			row.What, row.Quantity = it.Name, r.quantity(it, so.Quantity-so.Received)
		}
	}
	if so.ExpectedDay == "" {
		row.Expected = "not said"
	}
	if r.May(people.KeepStores) {
		row.To = r.At("stores/supply", so.ID)
	}
	return row
}

// counterWords says for which planned orders a counter lasts.
func counterWords(c kit.Counter, l kit.Lasting) string {
	var done []string
	for _, j := range l.For {
		done = append(done, strconv.FormatInt(j.Number, 10))
	}
	per := ""
	if l.PerJob > 0 {
		per = Short(l.PerJob, 0) + " a job: "
	}
	switch {
	case c.Spent():
		return "spent: take it out of use"
	case c.Limit <= 0:
		return "no limit is known"
	case l.Past != nil && len(done) == 0:
		return per + "not enough for " + strconv.FormatInt(l.Past.Number, 10)
	case l.Past != nil:
		return per + Short(l.Left, 0) + " left after " + List(done) + ", not enough for " + strconv.FormatInt(l.Past.Number, 10)
	case len(done) > 0:
		return per + "lasts for " + List(done)
	}
	return per + Short(l.Left, 0) + " left"
}
