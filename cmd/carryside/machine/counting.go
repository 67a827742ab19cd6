package machine

import (
	"context"

	"carryside/assets"
	"carryside/schedule/clock"
	"carryside/server/api"
	"carryside/server/web"
)

// Count is told how many readings came in: origin is screen or api, outcome kept, known or held.
type Count func(origin, outcome string, n int)

// outcomeWord says what became of a reading.
func outcomeWord(c clock.Class) string {
	switch {
	case c.Held():
		return "held"
	case c == clock.Duplicate:
		return "known"
	}
	return "kept"
}

// Counted is the screens' meters with every reading that comes in counted.
func Counted(m web.Meters, count Count) web.Meters { return countedMeters{m, count} }

type countedMeters struct {
	web.Meters
	count Count
}

// EnterReadings takes readings and counts them.
func (m countedMeters) EnterReadings(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, readings []web.ReadingEntered) ([]web.ReadingOutcome, error) {
	out, err := m.Meters.EnterReadings(ctx, scope, a, plantID, readings)
	if err == nil {
		for _, o := range out {
			m.count("screen", outcomeWord(o.Class), 1)
		}
	}
	return out, err
}

// CountedDesk is the machine's desk with every reading that comes in counted.
func CountedDesk(d api.Desk, count Count) api.Desk { return countedDesk{d, count} }

type countedDesk struct {
	api.Desk
	count Count
}

// EnterOnce takes readings and counts those that were not sent before.
func (d countedDesk) EnterOnce(ctx context.Context, scope assets.Scope, e api.Entry, answer func([]api.Outcome) (string, error)) (string, bool, error) {
	var came []api.Outcome
	kept, again, err := d.Desk.EnterOnce(ctx, scope, e, func(outcomes []api.Outcome) (string, error) {
		came = outcomes
		return answer(outcomes)
	})
	if err == nil && !again {
		for _, o := range came {
			d.count("api", outcomeWord(o.Class), 1)
		}
	}
	return kept, again, err
}
