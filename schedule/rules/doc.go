// Package rules is what raises a work order: calendar, running-hours, passes, event, finding and take-up
// rules, one file each. A rule proposes occurrences from a plant's register and its clocks; the storage
// keeps each under the unique key rule + target + cycle, so that evaluating twice, late or on two servers
// raises once. It must not know how rows are stored or what the wall clock says: now is passed in.
//
// An Outlook is one plant looked at once, as of now. Each occurrence has one instant at which it is to be
// raised, and that instant follows from the rule and the plant alone: proposing (Monday, Sunday] in pieces
// gives what proposing it whole gives.
//
//	look := rules.NewOutlook(in)
//	for _, p := range look.Propose(rule, rule.Since(mark, now), now) {
//		// p.Occurrence and p.Order are what the storage inserts, unless the key is there already
//	}
package rules
