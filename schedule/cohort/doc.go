// Package cohort turns the splices of a register into lives for the life model: which splice failed, which was still sound,
// from what age it was watched, and with which others it is taken to follow one law. Every life carries the reason it is
// counted as it is, so that a planner can challenge it.
//
// The numbers are schedule/life's; this package knows the register and no statistics beyond choosing among fits. It reads
// no database and no clock.
//
//	one := cohort.Observe(splice, usage, asOf)
//	one.Reason // "failed (splice opened) on 3 March 2024 after 1 412 days"
package cohort
