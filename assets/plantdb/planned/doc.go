// Package planned holds the statements of the horizon: what a plan of one plant or many is made of, what a planner has moved
// and not published, and what was published.
//
// Shared crews and kit are read with everything they do elsewhere, as stretches of time without a name: schedule/horizon
// turns them into 'not free then'.
package planned
