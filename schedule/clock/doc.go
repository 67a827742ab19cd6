// Package clock is how a belt and its splices age: running hours read from a meter, their projection after the last
// reading, and the splice passes and flexes that follow from them.
//
// Hours are running hours H(t) of a conveyor, monotone and piecewise linear in elapsed time; instants are UTC. The
// package knows neither zones nor storage nor rules: planned hours come through the Plan interface, which
// calendar.Production satisfies.
//
//	meter := clock.NewMeter(0.1, replacements)
//	line, verdicts := meter.Accept(readings)        // held readings stay out of the line
//	ahead := clock.Project(line, plan, 90*24*time.Hour, fittedAt)
//	due, ok := ahead.When(ahead.At(now).Hours + 500) // the date on which 500 more hours are run
package clock
