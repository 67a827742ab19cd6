package stock

import (
	"math"
	"slices"
	"time"

	"carryside/assets"
)

// Keeping is how an item is kept at a place: its own figures, or the place's.
type Keeping struct {
	LeadTimeDays int
	ServiceLevel float64
	Spare        assets.Quantity // stays on hand; one unit of a critical item
	FixedPoint   assets.Quantity // a person's reorder point; 0: computed
	Class        assets.Class
	Source       string
}

// DefaultServiceLevel is used where neither item nor place says one. Our own choice (class D).
const DefaultServiceLevel = 0.95

// KeepingOf joins an item's figures with those of a place, nil where the place has none.
func KeepingOf(item assets.StockItem, p *assets.StockPolicy) Keeping {
	k := Keeping{LeadTimeDays: item.LeadTimeDays, ServiceLevel: item.ServiceLevel, Class: item.Class, Source: item.Source}
	if item.Critical {
		k.Spare = 1000
	}
	if p != nil {
		k.Class, k.Source, k.FixedPoint = p.Class, p.Source, p.FixedPoint
		k.LeadTimeDays = orElse(p.LeadTimeDays, k.LeadTimeDays)
		k.ServiceLevel = orElse(p.ServiceLevel, k.ServiceLevel)
		k.Spare = orElse(p.Spare, k.Spare)
	}
	k.ServiceLevel = orElse(k.ServiceLevel, DefaultServiceLevel)
	return k
}

func orElse[T int | float64 | assets.Quantity](v, otherwise T) T {
	if v > 0 {
		return v
	}
	return otherwise
}

// Outlook is an item at a place: what is there, what holds it, and whether to order.
type Outlook struct {
	Item     assets.StockItem
	Keeping  Keeping
	Lots     []Lot
	Supplies []Supply
	Held     []Held          // needs with where their stock comes from, by day
	OnHand   assets.Quantity // usable today
	Unfit    assets.Quantity // out of date or held back
	Coming   assets.Quantity
	Reserved assets.Quantity // taken from lots by placed orders
	Free     assets.Quantity // on hand less reserved
	Level    Level           // reorder point today
	Below    bool            // what is there and comes is less than the point
	LowDay   assets.Day      // the first day on which it would run below spare and unplanned demand; "": not within the horizon
	OrderDay assets.Day      // order by; today or before: now. "": nothing to order
	Order    assets.Quantity // how much
	Cover    Cover           // on what the quantity rests, while there is something to order
	Wait     []Held          // needs that no stock and no supply serves in time
}

// Cover is what an order is to bring: on its day so much is to be left, and so much would be without it.
type Cover struct {
	Day         assets.Day
	Least, Left assets.Quantity
}

// HorizonDays is how far ahead needs are looked at: two years, longer than any lead time of a belt. Our own choice.
const HorizonDays = 730

// Look works out an item at a place.
//
// The stock is followed day by day: each need takes its stock (see Reserve), lots leave when they go out of date, supplies
// come. The item must be ordered a lead time before the first day on which what is left falls below
//
//	spare + q + mean rate × days beyond the lead time
//
// with q the unplanned demand of a lead time at the service level (see Reorder). What is ordered brings it up to the
// same level two lead times (at least 30 days) on, in whole packs.
func Look(item assets.StockItem, k Keeping, lots []Lot, supplies []Supply, needs []Need, unplanned []Jobs, today assets.Day) (Outlook, error) {
	o := Outlook{Item: item, Keeping: k, Lots: Order(lots), Supplies: supplies}
	within := today.AddDays(max(0, k.LeadTimeDays))
	var planned assets.Quantity
	for _, n := range needs {
		if n.Day <= within {
			planned += n.Quantity
		}
	}
	level, err := Reorder(planned, unplanned, k.LeadTimeDays, k.ServiceLevel, k.Spare)
	if err != nil {
		return o, err
	}
	o.Level = level
	if k.FixedPoint > 0 {
		o.Level.Point = k.FixedPoint
	}
	o.Held = Reserve(item, lots, supplies, atLeast(needs, today))
	o.count(today)
	o.order(today, meanPerDay(unplanned))
	return o, nil
}

// atLeast puts needs whose day has passed on today: they are late, not gone.
func atLeast(needs []Need, today assets.Day) []Need {
	out := slices.Clone(needs)
	for i := range out {
		out[i].Day = max(out[i].Day, today)
	}
	return out
}

func meanPerDay(jobs []Jobs) float64 {
	sum := 0.0
	for _, j := range jobs {
		if j.Each > 0 && j.PerDay > 0 {
			sum += j.PerDay * float64(j.Each)
		}
	}
	return sum
}

// count adds up what is there, held and to come.
func (o *Outlook) count(today assets.Day) {
	for _, l := range o.Lots {
		if l.Fit(today) {
			o.OnHand += l.OnHand
		} else {
			o.Unfit += l.OnHand
		}
	}
	for _, s := range o.Supplies {
		o.Coming += s.Quantity
	}
	for _, h := range o.Held {
		for _, t := range h.Takes {
			if t.LotID != 0 && h.Placed {
				o.Reserved += t.Quantity
			}
		}
		if h.Short > 0 {
			o.Wait = append(o.Wait, h)
		}
	}
	o.Free = o.OnHand - o.Reserved
}

// order finds the first day on which too little is left, and what to order for it.
func (o *Outlook) order(today assets.Day, perDay float64) {
	o.Below = o.OnHand+o.Coming < o.Level.Point
	lead := o.Keeping.LeadTimeDays
	for _, day := range o.days(today) {
		if o.left(day) < o.least(day, today, perDay) {
			o.LowDay = day
			o.OrderDay = max(today, day.AddDays(-lead))
			break
		}
	}
	if o.Below && o.OrderDay == "" {
		o.OrderDay = today
	}
	if o.OrderDay == "" {
		return
	}
	cover := today.AddDays(daysBetween(today, o.OrderDay) + lead + max(30, lead))
	o.Cover = Cover{cover, o.least(cover, today, perDay), o.left(cover)}
	want := o.Cover.Least - o.Cover.Left
	if o.Below {
		want = max(want, o.Level.Point-o.OnHand-o.Coming)
	}
	o.Order = Pack(Pack(want, 1000), o.Item.PackQuantity) // nobody orders parts of a kilogram
	if o.Order <= 0 {
		o.OrderDay, o.LowDay, o.Cover = "", "", Cover{}
	}
}

// least is what must be left on a day.
func (o *Outlook) least(day, today assets.Day, perDay float64) assets.Quantity {
	beyond := max(0, daysBetween(today, day)-o.Keeping.LeadTimeDays)
	floor := o.Keeping.Spare + o.Level.Unplanned
	if o.Keeping.FixedPoint > 0 {
		floor = max(o.Keeping.Spare, o.Keeping.FixedPoint-o.Level.Planned)
	}
	return floor + assets.Quantity(math.Ceil(perDay*float64(beyond)))
}

// left is what is usable at the end of a day once the needs up to then have taken theirs; what they lack counts against it.
func (o *Outlook) left(day assets.Day) assets.Quantity {
	taken := map[int64]assets.Quantity{}
	left := assets.Quantity(0)
	for _, h := range o.Held {
		if h.Day > day {
			continue
		}
		left -= h.Short
		for _, t := range h.Takes {
			taken[sourceKey(t.LotID, t.SupplyID)] += t.Quantity
		}
	}
	for _, l := range o.Lots {
		if l.Fit(day) {
			left += l.OnHand - taken[sourceKey(l.ID, 0)]
		}
	}
	for _, s := range o.Supplies {
		if s.Day <= day && (o.Item.ShelfLifeDays == 0 || day <= s.Day.AddDays(o.Item.ShelfLifeDays)) {
			left += s.Quantity - taken[sourceKey(0, s.ID)]
		}
	}
	return left
}

// sourceKey tells lots and supplies apart in one map.
func sourceKey(lot, supply int64) int64 {
	if supply != 0 {
		return -supply
	}
	return lot
}

// days lists the days on which something changes, and one in thirty between, from a lead time on up to the horizon. What
// lacks sooner no new order mends; it counts against what is left when one could come.
func (o *Outlook) days(today assets.Day) []assets.Day {
	first, last := today.AddDays(o.Keeping.LeadTimeDays), today.AddDays(HorizonDays)
	days := []assets.Day{first}
	add := func(d assets.Day) {
		if d >= first && d <= last {
			days = append(days, d)
		}
	}
	for _, h := range o.Held {
		add(h.Day)
	}
	for _, l := range o.Lots {
		if l.GoodUntil != "" && l.OnHand > 0 {
			add(l.GoodUntil.AddDays(1))
		}
	}
	for d := first; d <= last; d = d.AddDays(30) {
		add(d)
	}
	slices.Sort(days)
	return slices.Compact(days)
}

func daysBetween(a, b assets.Day) int {
	from, errA := time.Parse(time.DateOnly, string(a))
	to, errB := time.Parse(time.DateOnly, string(b))
	if errA != nil || errB != nil {
		return 0
	}
	return int(math.Round(to.Sub(from).Hours() / 24))
}
