// Package horizon is a plant's orders against its stops: it makes the planner's closed case of what the registry holds,
// turns the planner's minutes and indices back into instants, persons and kit, and answers at once what moving one order
// to another stop would break or cost.
//
// It is pure: what stands in the database, and now, go in; it stores nothing and reads no clock. It does not search: that is
// schedule/plan.
//
//	sheet := horizon.Lay(inputs)
//	found, err := plan.Solve(ctx, sheet.Case, plan.Settings{Seed: 1})
//	at := sheet.Placements(found)
//	answer := sheet.Ask(ctx, at, horizon.Move{OrderID: 412, StopID: 7})
//
// Minutes of a case count from Inputs.From in UTC, so that a stop over a clock change has its true length. Stops begin at
// the next whole minute and end at the last one.
package horizon
