// Package registry holds the statements of the register: companies, customers, contracts, plants, contacts,
// lines, conveyors, belts, splices, catalogues, findings and people, a file for each noun.
//
// Reads take the database and the scope of who asks; what is out of scope is not found. Writes are
// functions on a plantdb.Change and check what must hold: one belt at a time on a conveyor, a mark once on
// a belt, dates in order. What is wrong comes back as assets.Invalid, per field.
package registry
