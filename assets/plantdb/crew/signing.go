package crew

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// MaySign holds that a person's ticket for a kind of work holds on the day on which the work was done. It is asked when the signature
// arrives, in the change that keeps it. A kind of work for which the catalogue has no ticket asks for none. assets.Invalid under "at" says
// which ticket is missing or ran out, and what to do; nothing of what was typed is lost.
func MaySign(c *plantdb.Change, personID int64, kind string, form assets.Form, bond assets.Bond, day assets.Day) error {
	asked, names, err := askedFor(c.Context(), c.DB, kind, form, bond)
	if err != nil || len(asked) == 0 {
		return err
	}
	held, err := Tickets(c.Context(), c.DB, assets.JobScope())
	if err != nil {
		return err
	}
	ended := assets.Day("")
	for _, t := range held {
		if t.PersonID != personID || asked[t.QualificationID] == "" {
			continue
		}
		if t.HoldsOn(day) {
			return nil
		}
		ended = max(ended, t.UntilDay)
	}
	what := strings.Join(names, " or ")
	if ended != "" && ended < day {
		return assets.Invalid{"at": fmt.Sprintf("your ticket (%s) ran out on %s, before the work of %s; somebody whose ticket held then signs, or the lead enters the renewed one", what, ended, day)}
	}
	return assets.Invalid{"at": fmt.Sprintf("who signs this work needs a ticket that held on %s: %s; somebody who has it signs, or the lead enters it", day, what)}
}

// SignedBy returns the ticket by which a person could sign a kind of work on a day, and until when it holds ("": until further notice); no
// ticket where none is asked or none is on record, as for work signed before its ticket was entered.
func SignedBy(ctx context.Context, db *plantdb.DB, personID int64, kind string, form assets.Form, bond assets.Bond, day assets.Day) (ticket string, until assets.Day, err error) {
	asked, _, err := askedFor(ctx, db, kind, form, bond)
	if err != nil || len(asked) == 0 {
		return "", "", err
	}
	held, err := Tickets(ctx, db, assets.JobScope())
	for _, t := range held {
		name := asked[t.QualificationID]
		if longer := t.UntilDay == "" || until != "" && t.UntilDay > until; t.PersonID == personID && name != "" && t.HoldsOn(day) && (ticket == "" || longer) {
			ticket, until = name, t.UntilDay
		}
	}
	return ticket, until, err
}

// askedFor are the tickets of which somebody needs one to sign a kind of work, by number, and their names.
func askedFor(ctx context.Context, db *plantdb.DB, kind string, form assets.Form, bond assets.Bond) (asked map[int64]string, names []string, err error) {
	all, err := Qualifications(ctx, db, plantdb.AsOf{})
	asked = map[int64]string{}
	for _, q := range all {
		fits := len(q.SpliceKinds) == 0 || slices.Contains(q.SpliceKinds, assets.KindPair{Form: form, Bond: bond})
		if slices.Contains(q.OrderKinds, kind) && fits {
			asked[q.ID], names = q.Name, append(names, q.Name)
		}
	}
	return asked, names, err
}
