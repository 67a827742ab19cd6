// Package intakedb is the register as the importer sees it (assets/intake states what it needs): a plant's
// snapshot going out, a set of changes coming in, written in one transaction or not at all. It also keeps what
// was brought in and how the headings of a list were read. What a row means is judged in assets/intake.
//
//	outcome, changes, err := intake.Judge(ctx, book, &intakedb.Registry{DB: db, Scope: scope, PersonID: 7}, options)
package intakedb
