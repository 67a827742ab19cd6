package rules

import (
	"fmt"
	"math"

	"carryside/assets"
)

// Triggers of kit and stock. Both look at the plant; what an occurrence is about is a counter, a piece of kit or an item.
const (
	TriggerKit   TriggerKind = "kit"   // a counter at its limit, or a calibration date
	TriggerStock TriggerKind = "stock" // an item below its reorder point
)

// Targets of kit and stock.
const (
	TargetCounter TargetKind = "counter" // of wear
	TargetKit     TargetKind = "kit"     // its calibration
	TargetItem    TargetKind = "item"    // of stock
)

// What a kit trigger watches.
const (
	KitLimit       = "limit"
	KitCalibration = "calibration"
)

// KitWear is a counter of kit at home at the plant, or of kit at home in a depot that reached its limit by a job done here.
type KitWear struct {
	CounterID int64
	Words     string // "Step cutter, blades 9: blade cuts"
	Unit      string // cuts, cycles
	Count     float64
	Limit     float64 // 0: none known
	Class     assets.Class
	FittedAt  assets.Instant
	MovedAt   assets.Instant // when it was moved last
}

// KitDue is a piece of kit at home at the plant with the day its calibration is due.
type KitDue struct {
	KitID int64
	Words string
	Due   assets.Day // "" none
	Class assets.Class
}

// StockLevel is an item kept at the plant.
type StockLevel struct {
	ItemID  int64
	Words   string
	Have    string // on hand and coming, with the unit
	Point   string // reorder point, with the unit
	Below   bool
	Receipt int64          // the last receipt: a fall below the point counts until the next
	MovedAt assets.Instant // when it was moved last
	Class   assets.Class
}

// eachKit visits the counters at their limit, or the calibrations.
func (o *Outlook) eachKit(r Rule, visit func(Proposal)) {
	if r.Trigger.Watches == KitCalibration {
		o.eachCalibration(r, visit)
		return
	}
	for _, k := range o.in.Wear {
		if k.Limit <= 0 || k.Count < k.Limit {
			continue
		}
		nth := int(math.Floor(k.Count/k.Limit + 1e-9))
		due := micro(k.MovedAt.Time())
		p := o.proposal(r, Target{Kind: TargetCounter, ID: k.CounterID, Words: k.Words}, CounterCycle(k.FittedAt, nth), due, o.day(due), o.raiseAt(r, inScope{}, due))
		p.Thumb = !k.Class.RaisesOrders()
		p.Values = map[string]any{"clock": k.Unit, "reached": k.Count, "limit": k.Limit, "k": nth, "class": k.Class}
		p.Why = o.because(r, fmt.Sprintf("%s: %s of %s %s, limit of class %s", k.Words, count(k.Count), count(k.Limit*float64(nth)), k.Unit, k.Class))
		visit(p)
	}
}

// CounterCycle is the cycle of a counter that has reached its limit so many times since its part was fitted.
func CounterCycle(fittedAt assets.Instant, times int) string {
	return fmt.Sprintf("fitted %s, %d", fittedAt, times)
}

func (o *Outlook) eachCalibration(r Rule, visit func(Proposal)) {
	for _, k := range o.in.Calibrated {
		at, err := k.Due.Midnight(o.in.Plant.Location())
		if k.Due == "" || err != nil {
			continue
		}
		due := micro(at)
		p := o.proposal(r, Target{Kind: TargetKit, ID: k.KitID, Words: k.Words}, "due "+string(k.Due), due, k.Due, o.raiseAt(r, inScope{}, due))
		p.Thumb = !k.Class.RaisesOrders()
		p.Values = map[string]any{"clock": "calibration", "due": k.Due, "class": k.Class}
		p.Why = o.because(r, fmt.Sprintf("calibration of %s is due %s, interval of class %s", k.Words, dueWords(k.Due), k.Class))
		visit(p)
	}
}

// eachStock visits the items below their reorder point. The cycle is the item and its fall: until the next receipt it is
// one and the same.
func (o *Outlook) eachStock(r Rule, visit func(Proposal)) {
	for _, s := range o.in.Stock {
		if !s.Below {
			continue
		}
		due := micro(s.MovedAt.Time())
		if s.MovedAt == 0 {
			due = micro(r.StartsAt.Time())
		}
		p := o.proposal(r, Target{Kind: TargetItem, ID: s.ItemID, Words: s.Words}, fmt.Sprintf("below since receipt %d", s.Receipt), due, o.day(due), o.raiseAt(r, inScope{}, due))
		p.Thumb = !s.Class.RaisesOrders()
		p.Values = map[string]any{"clock": "stock", "have": s.Have, "point": s.Point, "class": s.Class}
		p.Why = o.because(r, fmt.Sprintf("%s: %s here or coming, below the reorder point of %s (class %s)", s.Words, s.Have, s.Point, s.Class))
		visit(p)
	}
}

// storesTarget returns a target of kit or stock by its number.
func (o *Outlook) storesTarget(kind TargetKind, id int64) (Target, bool) {
	switch kind {
	case TargetCounter:
		for _, k := range o.in.Wear {
			if k.CounterID == id {
				return Target{Kind: kind, ID: id, Words: k.Words}, true
			}
		}
	case TargetKit:
		for _, k := range o.in.Calibrated {
			if k.KitID == id {
				return Target{Kind: kind, ID: id, Words: k.Words}, true
			}
		}
	case TargetItem:
		for _, s := range o.in.Stock {
			if s.ItemID == id {
				return Target{Kind: kind, ID: id, Words: s.Words}, true
			}
		}
	}
	return Target{}, false
}

// checkStores holds what triggers of kit and stock need.
func checkStores(t Trigger, sc Scope, wrong assets.Invalid) {
	if sc.Target != TargetPlant {
		wrong.Add("target", "kit and stock are a matter of the plant: let the rule look at the plant")
	}
	if t.Kind == TriggerKit && t.Watches != KitLimit && t.Watches != KitCalibration {
		wrong.Add("watches", "say what is watched: counters at their limit, or calibration dates")
	}
}

// storesWords says when a trigger of kit or stock fires.
func (t Trigger) storesWords() string {
	switch {
	case t.Kind == TriggerStock:
		return "stock below its reorder point"
	case t.Watches == KitCalibration:
		return "calibration due"
	}
	return "kit at its limit of cycles or cuts"
}
