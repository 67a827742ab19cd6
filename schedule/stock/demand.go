package stock

import (
	"cmp"
	"math"
	"slices"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// Demand is what a plant's demand for stock is worked out from.
type Demand struct {
	Register  *assets.Register
	Orders    []workorder.Order    // accepted, placed or started
	StopDays  map[int64]assets.Day // by number of the stop window: its plant date
	Templates []assets.WorkTemplate
	Items     []assets.StockItem
	Issued    map[OrderItem]assets.Quantity // issued to an order already, less what came back
	Failed    []assets.Splice               // ended by failure within the years looked back on
	Today     assets.Day
	Foreseen  Foreseen // nil: nothing is foreseen
}

// Foreseen is the chance that a live splice fails within so many days from now, by the life figures of its cohort; false where they
// say nothing of it.
type Foreseen func(spliceID int64, days int) (chance float64, known bool)

// OrderItem is an item as an order takes it.
type OrderItem struct{ OrderID, ItemID int64 }

// YearsBack is how far back failures are counted for the rate of unplanned jobs. Our own choice: long enough for a few
// failures, short enough for the plant to be the same.
const YearsBack = 3

// Needs returns what the plant's orders take, by item, less what was issued to them.
func (d *Demand) Needs() map[int64][]Need {
	out := map[int64][]Need{}
	for _, o := range d.Orders {
		for _, t := range d.takes(o) {
			q := t.Quantity - d.Issued[OrderItem{o.ID, t.ItemID}]
			if q <= 0 {
				continue
			}
			placed := o.State == workorder.Placed || o.State == workorder.Started
			out[t.ItemID] = append(out[t.ItemID], Need{OrderID: o.ID, Number: o.Number, ItemID: t.ItemID, Quantity: q, Day: d.day(o), Placed: placed, Words: o.Title})
		}
	}
	return out
}

// day is the plant date of an order's stop or start, else its latest date; "" where there is none, and it may be done any
// day from today on.
func (d *Demand) day(o workorder.Order) assets.Day {
	switch {
	case o.PlacedStart != nil:
		return assets.DayOf(o.PlacedStart.Time().In(d.Register.Plant.Location()))
	case o.WindowID != 0 && d.StopDays[o.WindowID] != "":
		return d.StopDays[o.WindowID]
	}
	return o.LatestDay
}

// Taking is how much of an item a job takes.
type Taking struct {
	ItemID   int64
	Quantity assets.Quantity
}

func (d *Demand) takes(o workorder.Order) []Taking {
	belt, form, bond := d.beltOf(o)
	out := d.TakesOf(string(o.Kind), form, bond, belt.WidthM)
	lengthM := 0.0
	switch o.Kind {
	case workorder.KindBeltChange:
		lengthM = belt.LoopLengthM + d.overlapM(belt.ID)
	case workorder.KindInsertPiece:
		lengthM = d.insertM(belt, d.overlapM(belt.ID))
	}
	if t, ok := d.beltItem(belt, lengthM); ok {
		out = append(out, t)
	}
	return out
}

// LeastInsertM is the least length of an insert piece between its two splices (rule of thumb, class D: two metres, so that one splice is off
// the pulleys before the next comes on).
const LeastInsertM = 2

// insertM is the belt an insert piece takes: what brings the take-up back by half of its travel, twice that as the belt runs to it and back, no
// less than LeastInsertM; and a splice's overlap at each end. Common practice; the sheet of the order says what was cut.
func (d *Demand) insertM(b assets.Belt, overlapM float64) float64 {
	c, _ := d.Register.Conveyor(b.ConveyorID)
	return max(LeastInsertM, c.TakeUpTravelM) + 2*overlapM
}

// overlapM is what the ends of a belt overlap in its splice.
func (d *Demand) overlapM(beltID int64) float64 {
	of := d.Register.SplicesOf(beltID)
	if len(of) == 0 {
		return 0
	}
	s := of[len(of)-1]
	return max(s.FingerLengthM, s.StepLengthM*float64(s.Steps))
}

// TakesOf returns what a kind of order takes of each item by its template, for a splice of a kind in a belt of a width.
func (d *Demand) TakesOf(kind string, form assets.Form, bond assets.Bond, widthM float64) []Taking {
	t, ok := assets.TemplateFor(d.Templates, d.Register.Plant.CustomerID, kind, form, bond)
	if !ok {
		return nil
	}
	var out []Taking
	for _, n := range t.Stock {
		item, known := d.item(n.ItemID)
		q, fits := assets.QuantityOf(n.PerSplice + n.PerMWidth*widthM)
		if !known || !fits || q <= 0 {
			continue
		}
		if item.Whole() {
			q = Pack(q, 1000)
		}
		out = append(out, Taking{item.ID, q})
	}
	return out
}

func (d *Demand) item(id int64) (assets.StockItem, bool) {
	i := slices.IndexFunc(d.Items, func(it assets.StockItem) bool { return it.ID == id })
	if i < 0 {
		return assets.StockItem{}, false
	}
	return d.Items[i], true
}

// beltOf returns the belt an order is about, with the kind of its splice.
func (d *Demand) beltOf(o workorder.Order) (assets.Belt, assets.Form, assets.Bond) {
	belt, known := d.Register.Belt(o.BeltID)
	if !known {
		belt = d.fitted(o.ConveyorID)
	}
	s, known := d.Register.Splice(o.SpliceID)
	if of := d.Register.SplicesOf(belt.ID); !known && len(of) > 0 {
		s = of[len(of)-1]
	}
	return belt, s.Form, s.Bond
}

// fitted is the belt on a conveyor now.
func (d *Demand) fitted(conveyorID int64) assets.Belt {
	for _, b := range d.Register.BeltsOf(conveyorID) {
		if b.Removed == nil {
			return b
		}
	}
	return assets.Belt{}
}

// beltItem is the belt that work takes off the rack: of its specification, wide enough, the narrowest first, to the next decimetre.
func (d *Demand) beltItem(b assets.Belt, lengthM float64) (Taking, bool) {
	var fit []assets.StockItem
	for _, it := range d.Items {
		if it.IsBelt() && it.SpecificationID == b.SpecificationID && b.SpecificationID != 0 && it.WidthM >= b.WidthM-1e-9 {
			fit = append(fit, it)
		}
	}
	if len(fit) == 0 || b.LoopLengthM <= 0 || lengthM <= 0 {
		return Taking{}, false
	}
	slices.SortFunc(fit, func(x, y assets.StockItem) int { return cmp.Compare(x.WidthM, y.WidthM) })
	q, ok := assets.QuantityOf(math.Ceil(lengthM*10-1e-9) / 10)
	return Taking{fit[0].ID, q}, ok
}

// spliceOf is a kind of splice in a belt of a width: jobs of equal size.
type spliceOf struct {
	form   assets.Form
	bond   assets.Bond
	widthM float64
}

// Unplanned returns the jobs that failures are expected to bring within a lead time of some days, by item. The rate of a kind of splice is the
// sum over its live splices of
//
//	chance of failing within the lead time / lead time    where the life figures foresee it (those the due bands rest on); a splice
//	                                                      with an open re-splice counts until the day of that
//	its share of (failures in the last three years + a half shared by all live splices) / three years    elsewhere
//
// The second is the mean of the rate with Jeffreys' prior: a plant without a failure so far still keeps something for one. Each
// job takes what the template of a re-splice says. A lead time of no days counts as one.
func (d *Demand) Unplanned(days int) map[int64][]Jobs {
	kinds := d.rates(max(1, days))
	out := map[int64][]Jobs{}
	for k, perDay := range kinds {
		for _, t := range d.TakesOf(string(workorder.KindResplice), k.form, k.bond, k.widthM) {
			out[t.ItemID] = append(out[t.ItemID], Jobs{PerDay: perDay, Each: t.Quantity})
		}
	}
	for _, jobs := range out {
		slices.SortFunc(jobs, func(a, b Jobs) int { return cmp.Or(cmp.Compare(a.Each, b.Each), cmp.Compare(a.PerDay, b.PerDay)) })
	}
	return out
}

// rates are the failures to be expected a day, by kind of splice.
func (d *Demand) rates(days int) map[spliceOf]float64 {
	failures, live, blind := map[spliceOf]float64{}, map[spliceOf]float64{}, map[spliceOf]float64{}
	total := 0.0
	out := map[spliceOf]float64{}
	remade := d.remadeOn()
	for _, s := range d.Register.Splices {
		if s.Ended != nil {
			continue
		}
		k := d.kindOf(s)
		live[k]++
		total++
		until := days
		if day, planned := remade[s.ID]; planned && day != "" {
			until = max(1, min(days, daysBetween(d.Today, day)))
		}
		if d.Foreseen != nil {
			if chance, known := d.Foreseen(s.ID, until); known {
				out[k] += chance / float64(days)
				continue
			}
		}
		blind[k]++
	}
	for _, s := range d.Failed {
		failures[d.kindOf(s)]++
	}
	for k, n := range live {
		out[k] += blind[k] / n * (failures[k] + 0.5*n/total) / (YearsBack * 365.25)
	}
	for k, n := range failures {
		if live[k] == 0 {
			out[k] += n / (YearsBack * 365.25)
		}
	}
	return out
}

// remadeOn are the days on which open re-splices are to be done, by splice.
func (d *Demand) remadeOn() map[int64]assets.Day {
	out := map[int64]assets.Day{}
	for _, o := range d.Orders {
		if o.Kind == workorder.KindResplice && o.SpliceID != 0 {
			out[o.SpliceID] = d.day(o)
		}
	}
	return out
}

func (d *Demand) kindOf(s assets.Splice) spliceOf {
	b, _ := d.Register.Belt(s.BeltID)
	if b.WidthM == 0 {
		b = d.fitted(s.ConveyorID)
	}
	return spliceOf{s.Form, s.Bond, b.WidthM}
}
