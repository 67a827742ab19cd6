// Package jobsheet is what a job sheet says of the work: the usual steps and checks of each kind of splice, and the figures computed for
// one job. Steps are common practice (class D) until a lead has edited them; they replace neither the maker's instruction for the belt nor
// site rules nor qualified people, and nothing here says that a conveyor is safe to run.
//
// The package is pure: it stores nothing and reads no clock.
package jobsheet
