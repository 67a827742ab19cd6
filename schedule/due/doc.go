// Package due tells a splice's standing: its age on the four clocks (days, running hours, splice
// passes, flexes) and what sets its date, the rule in force that falls due first.
//
// It is pure: a plant's register, its rules, its usage clocks and now go in, standings come out. It
// stores nothing, reads no clock of the wall and makes up no date: a splice whose date is not known
// has no age. It must not know what an order is or how one is raised (schedule/rules).
//
//	standings := due.Plant(now, register, rules, clocks)
//	standings[0].Reason // "339 000 of 364 000 passes since 14 Sep 2023 (class C)"
package due
