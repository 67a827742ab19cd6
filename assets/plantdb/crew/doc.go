// Package crew holds the statements of who can be sent to work: the catalogue of tickets, who holds which, working weeks,
// absences, ways between plants, and what a kind of work takes.
//
// People of the service company are shared: whoever reaches a plant may know who they are and which tickets they hold. Where
// else they are sent is told by nothing here.
package crew
