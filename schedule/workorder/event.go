package workorder

import (
	"bytes"
	"encoding/json"
	"time"

	"carryside/assets"
)

// NewEvent returns the event of a change: the fields that differ, before and after, as JSON objects.
// A new order has the zero Order as its before.
func NewEvent(what string, before, after Order, personID int64, at, now time.Time) Event {
	e := Event{PlantID: after.PlantID, OrderID: after.ID, What: what, At: assets.InstantOf(at), EnteredAt: assets.InstantOf(now), PersonID: personID}
	e.Before, e.After = difference(before, after)
	return e
}

// bookkeeping fields say which row it is, not what changed.
var bookkeeping = map[string]bool{"ID": true, "ValidFrom": true, "ValidTo": true, "EditVersion": true, "PlantID": true}

// difference returns the fields that differ with their values on both sides.
func difference(before, after Order) (string, string) {
	b, a := fields(before), fields(after)
	for name, v := range b {
		if bookkeeping[name] || bytes.Equal(v, a[name]) {
			delete(b, name)
			delete(a, name)
		}
	}
	return object(b), object(a)
}

// fields returns an order's fields by name. An order always encodes: its fields are numbers, texts and lists of them.
func fields(o Order) map[string]json.RawMessage {
	all := map[string]json.RawMessage{}
	if raw, err := json.Marshal(o); err == nil {
		_ = json.Unmarshal(raw, &all)
	}
	return all
}

func object(m map[string]json.RawMessage) string {
	raw, err := json.Marshal(m)
	if err != nil {
		return "{}"
	}
	return string(raw)
}
