// Package plan places orders into stop windows at the least cost, says how far from the best its plan can be, and why an order is left out.
//
// A Case is everything the planner knows: windows, conveyors in isolation groups, people with qualifications, tools, stock and jobs
// with what each window costs them. A Plan is what it found. The package is pure: it reads no file, no clock and no environment;
// whoever calls it passes a clock that counts the time used and hears of every better plan as it is found.
//
//	found, err := plan.Solve(ctx, c, plan.Settings{Seed: 1, Limit: 10 * time.Second, Clock: clock})
//
// All times are whole minutes from the case's start, all costs and quantities whole numbers; intervals are half-open, so one job may
// start in the minute another ends. The mathematics is a mixed-integer programme (assignment of jobs to windows with set-ups and
// call-outs as fixed charges, disjunctive ordering inside); it is solved by enumeration of window patterns where the case is small, and by
// remove-and-reinsert search (Shaw 1998; Pisinger and Ropke 2007) with a Lagrangian bound (Fisher 1981) where it is large.
//
// What would help a job left out is tried, not guessed. Where the plan is proven, so is the help: every optimum of the changed case places
// the job. Where it is not, the changed case is planned again by chains from the plan there is, and all of them have to place it; that is
// evidence and no proof.
package plan
