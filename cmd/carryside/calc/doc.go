// Package calc answers check cases with the very functions that serve the screens.
//
// A case file is an array of cases, or an object holding arrays of them; every case is answered with its result
// or with the class of error and one sentence. The package knows how a case is spelled and nothing of the trade:
// a Kind reads the fields it needs and hands them on, so that a figure checked here is the figure a planner sees.
//
//	answers, err := calc.Answer("loop", document, calc.Beside{})
package calc
