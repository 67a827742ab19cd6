package workorder

import (
	"encoding/json"
	"reflect"
	"slices"
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
var bookkeeping = []string{"Version", "EditVersion", "PlantID"}

// told are the places of an order's fields that an event tells of.
var told = func() (places []int) {
	t := reflect.TypeFor[Order]()
	for i := range t.NumField() {
		if !slices.Contains(bookkeeping, t.Field(i).Name) {
			places = append(places, i)
		}
	}
	return places
}()

// difference returns the fields that differ with their values on both sides, as JSON objects.
func difference(before, after Order) (string, string) {
	b, a := reflect.ValueOf(before), reflect.ValueOf(after)
	was, is := map[string]any{}, map[string]any{}
	for _, i := range told {
		old, now := b.Field(i).Interface(), a.Field(i).Interface()
		if !reflect.DeepEqual(old, now) {
			name := b.Type().Field(i).Name
			was[name], is[name] = old, now
		}
	}
	return object(was), object(is)
}

// object writes a JSON object; a number that JSON cannot say leaves it empty, and the steps refuse such numbers.
func object(m map[string]any) string {
	raw, err := json.Marshal(m)
	if err != nil {
		return "{}"
	}
	return string(raw)
}
