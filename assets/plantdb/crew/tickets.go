package crew

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"

	"gorm.io/gorm"
)

// Qualifications lists the company's catalogue of tickets by name.
func Qualifications(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf) ([]assets.Qualification, error) {
	return plantdb.Rows[assets.Qualification](db.SQL(ctx).Scopes(asOf.OfCompany().Rows).Order("name_key, id"))
}

// SaveQualification adds a ticket to the catalogue (ID 0) or changes it. The act declares the company.
func SaveQualification(c *plantdb.Change, next *assets.Qualification) error {
	bad := assets.Invalid{}
	if next.NameKey = assets.NameKey(next.Name); next.NameKey == "" {
		bad.Add("name", "give the ticket's name")
	}
	if next.ValidMonths < 0 || next.ValidMonths > 600 {
		bad.Add("valid_months", "give the months a ticket holds, 0 when it does not end")
	}
	all, err := Qualifications(c.Context(), c.DB, plantdb.AsOf{})
	if err != nil {
		return err
	}
	for _, q := range all {
		if q.ID != next.ID && q.NameKey == next.NameKey {
			bad.Add("name", "the catalogue has a ticket of this name already")
		}
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return save(c, 0, next)
}

// ofPeople begins a query of rows about people: the service company's, those of customers who are in scope as a whole, and
// those of a customer who are at home at a plant of the scope.
func ofPeople(ctx context.Context, db *plantdb.DB, scope assets.Scope) *gorm.DB {
	all, customers, _ := scope.Reaches()
	if all {
		return db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows)
	}
	home, args := plantdb.ScopeSQL(scope, "m.home_plant_id")
	return db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).Where(`(customer_id = 0 OR customer_id IN ? OR person_id IN (SELECT m.person_id FROM crew_members m
		WHERE m.known_to IS NULL AND m.valid_to IS NULL AND m.home_plant_id <> 0 AND `+home+`))`, append([]any{append([]int64{-1}, customers...)}, args...)...)
}

// Tickets lists the tickets of people within the scope, ended ones too, by person and last day.
func Tickets(ctx context.Context, db *plantdb.DB, scope assets.Scope) ([]assets.PersonQualification, error) {
	return plantdb.Rows[assets.PersonQualification](ofPeople(ctx, db, scope).Order("person_id, qualification_id, from_day, id"))
}

// SaveTicket adds a ticket somebody holds (ID 0) or changes it. A renewed ticket is a new one: the old one stays for the work done
// under it.
func SaveTicket(c *plantdb.Change, next *assets.PersonQualification) error {
	bad := assets.Invalid{}
	if next.QualificationID == 0 {
		bad.Add("qualification", "choose the ticket from the catalogue")
	}
	checkDays(bad, next.FromDay, next.UntilDay, false)
	held, err := Tickets(c.Context(), c.DB, assets.JobScope())
	if err != nil {
		return err
	}
	for _, t := range held {
		if t.ID != next.ID && t.PersonID == next.PersonID && t.QualificationID == next.QualificationID && t.FromDay == next.FromDay {
			bad.Add("from_day", "this person has this ticket from that day already; change that one")
		}
	}
	if next.CustomerID, err = ofPerson(c, next.PersonID, bad); err != nil {
		return err
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return save(c, next.CustomerID, next)
}

// EndTicket takes a ticket back that was entered in error.
func EndTicket(c *plantdb.Change, id, rowID int64) error {
	return end[assets.PersonQualification](c, id, rowID, func(t *assets.PersonQualification) int64 { return t.CustomerID })
}

// ofPerson is the customer of a person, 0 for the company's.
func ofPerson(c *plantdb.Change, personID int64, bad assets.Invalid) (customer int64, err error) {
	var found []int64
	err = c.Tx().Raw("SELECT customer_id FROM people WHERE id = ?", personID).Scan(&found).Error
	if err != nil || len(found) == 0 {
		bad.Add("person", "choose a person from the list")
		return 0, err
	}
	return found[0], nil
}

// save writes a new row (ID 0) or changes one from now on, in the chain of a customer, 0 the company's.
func save[T any, P plantdb.Fact[T]](c *plantdb.Change, customer int64, next P) error {
	ch, err := c.Chain(customer)
	if err != nil {
		return err
	}
	if next.Versioned().ID == 0 {
		return plantdb.Create[T](c, ch, next)
	}
	return plantdb.Amend[T](c, ch, next, c.Now())
}

// end lets a row be no more from now on.
func end[T any, P plantdb.Fact[T]](c *plantdb.Change, id, rowID int64, customer func(*T) int64) error {
	row, err := plantdb.ReadRow[T, P](c, id)
	if err != nil {
		return err
	}
	if rowID != 0 && P(&row).Versioned().RowID != rowID {
		return assets.ErrConflict
	}
	ch, err := c.Chain(customer(&row))
	if err != nil {
		return err
	}
	return plantdb.End[T, P](c, ch, &row, c.Now())
}

// checkDays refuses days that are none, or in the wrong order.
func checkDays(bad assets.Invalid, from, until assets.Day, ends bool) {
	for field, d := range map[string]assets.Day{"from_day": from, "until_day": until} {
		if d == "" && (field == "from_day" || ends) {
			bad.Add(field, "give the day as YYYY-MM-DD")
		}
		if _, err := d.Midnight(utc); d != "" && err != nil {
			bad.Add(field, err.Error())
		}
	}
	if until != "" && until < from {
		bad.Add("until_day", "the last day is before the first")
	}
}
