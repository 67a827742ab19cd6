package rules

import "time"

// countStep is a stretch of a passes counter: count at its beginning, hours there, pace in it.
type countStep struct {
	count, hours, pace float64
}

// passesFrom turns a counter of hours into one of passes; false without any pace.
func (c counter) passesFrom(from time.Time, paces []Pace) (counter, bool) {
	step, known := countStep{hours: c.h0}, false
	end := func() {
		c.steps = append(c.steps, step)
		known = known || step.pace > 0
		c.atLeast = c.atLeast || step.pace <= 0
	}
	for _, p := range paces {
		if at := p.From.Time(); at.After(from) {
			h, ok := c.line.HoursAt(at)
			if !ok {
				h = step.hours
			}
			end()
			step = countStep{count: step.count + step.pace*(h-step.hours), hours: h}
		}
		step.pace = p.PassesPerHour
	}
	end()
	return c, known
}
