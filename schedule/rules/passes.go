package rules

import "time"

// countStep is a stretch of a passes counter: count at its beginning, hours there, pace in it.
type countStep struct {
	count, hours, pace float64
}

// passesFrom turns a counter of hours into one of passes; false without any pace.
func (c counter) passesFrom(from time.Time, paces []Pace) (counter, bool) {
	step, known := countStep{hours: c.h0}, false
	for _, p := range paces {
		if at := p.From.Time(); at.After(from) {
			h, ok := c.line.HoursAt(at)
			if !ok {
				h = step.hours
			}
			c.steps = append(c.steps, step)
			step = countStep{count: step.count + step.pace*(h-step.hours), hours: h}
		}
		step.pace = p.PassesPerHour
		known = known || p.PassesPerHour > 0
		c.atLeast = c.atLeast || p.PassesPerHour <= 0
	}
	c.steps = append(c.steps, step)
	return c, known
}
