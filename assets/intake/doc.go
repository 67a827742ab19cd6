// Package intake reads a plant's own list of conveyors, belts, splices, hour readings and findings.
//
// Sheets come in as plain rows, from a workbook or a CSV. Headings are guessed or told by a mapping, cells are read, rows
// are judged against the register and against each other, and out comes an Outcome (what would be created, changed, held,
// refused and skipped, each with its place and its reason) and the Changes that make it so. What is doubtful is asked
// about, never guessed in silence; nothing that was read is dropped without being listed.
//
// The package is pure: it knows no database, no workbook library, no web. What it needs of the register it states as the
// interface Registry; the day of import is passed in.
//
//	book, err := intake.ReadCSV("hub.csv", data, intake.CSVOptions{})
//	outcome, changes, err := intake.Judge(ctx, book, registry, intake.Options{Plant: "Brightlea Parcel Hub", Now: now})
//	err = registry.Apply(ctx, changes)
package intake
