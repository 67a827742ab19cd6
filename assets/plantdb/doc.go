// Package plantdb opens the database of a service company and keeps three things that no statement may
// pass by: the scope of who asks, the journal, and the transaction. With its sub-folders it is the only
// code that knows gorm and SQL.
//
// Reading:
//
//	db, err := plantdb.Open(ctx, plantdb.Config{DSN: "carryside.db"})
//	register, err := registry.PlantAsOf(ctx, db, scope, plantID, plantdb.AsOf{})
//
// Writing goes through Change, which numbers the entry, lets the statements write rows with that number
// and stores what was before and after, in one transaction:
//
//	err = db.Change(ctx, plantdb.Act{PersonID: 7, Origin: plantdb.Screen, Action: "fit a belt", Now: now, Plants: []int64{3}},
//		func(c *plantdb.Change) error { return registry.FitBelt(c, &belt, "cover worn through") })
//
// It must not know what a due date is or who may do what: those are decided before it is asked.
package plantdb
