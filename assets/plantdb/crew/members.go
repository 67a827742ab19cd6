package crew

import (
	"context"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
)

var utc = time.UTC

// Members lists who can be sent to work within the scope, by number of the person.
func Members(ctx context.Context, db *plantdb.DB, scope assets.Scope) ([]assets.CrewMember, error) {
	return plantdb.Rows[assets.CrewMember](ofPeople(ctx, db, scope).Order("person_id, id"))
}

// SaveMember adds somebody to those who can be sent (ID 0) or changes how.
func SaveMember(c *plantdb.Change, next *assets.CrewMember) (err error) {
	bad := assets.Invalid{}
	if next.CustomerID, err = ofPerson(c, next.PersonID, bad); err != nil {
		return err
	}
	for _, s := range next.WorkingWeek {
		if s.Weekday < 0 || s.Weekday > 6 {
			bad.Add("working_week", "the weekday is 0 (Sunday) to 6 (Saturday)")
		}
		for _, t := range []string{s.Start, s.End} {
			if _, err := time.Parse("15:04", t); err != nil && t != "24:00" {
				bad.Add("working_week", fmt.Sprintf("%q is no time of day; write it as HH:MM", t))
			}
		}
	}
	if !(next.CalloutCost >= 0 && next.CalloutCost < 1e9) {
		bad.Add("callout_cost", "give what calling this person out costs, 0 or more")
	}
	var others int64
	err = c.Tx().Raw("SELECT count(*) FROM crew_members WHERE person_id = ? AND id <> ? AND known_to IS NULL AND valid_to IS NULL", next.PersonID, next.ID).Scan(&others).Error
	if err != nil {
		return err
	}
	if others > 0 {
		bad.Add("person", "this person is in the list already; change that entry")
	}
	if next.HomePlantID != 0 {
		if err := c.Reach(c.Context(), assets.JobScope(), next.HomePlantID); err != nil {
			return err
		}
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return save(c, next.CustomerID, next)
}

// EndMember takes somebody out of those who can be sent.
func EndMember(c *plantdb.Change, id, rowID int64) error {
	return end[assets.CrewMember](c, id, rowID, func(m *assets.CrewMember) int64 { return m.CustomerID })
}

// Absences lists who is away within the scope from a day on, by first day.
func Absences(ctx context.Context, db *plantdb.DB, scope assets.Scope, from assets.Day) ([]assets.Absence, error) {
	return plantdb.Rows[assets.Absence](ofPeople(ctx, db, scope).Where("until_day >= ?", from).Order("from_day, person_id, id"))
}

// SaveAbsence adds days away (ID 0) or changes them. Who is placed somewhere in that time stays placed: the screens say so.
func SaveAbsence(c *plantdb.Change, next *assets.Absence) (err error) {
	bad := assets.Invalid{}
	checkDays(bad, next.FromDay, next.UntilDay, true)
	if next.CustomerID, err = ofPerson(c, next.PersonID, bad); err != nil {
		return err
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return save(c, next.CustomerID, next)
}

// EndAbsence takes days away back.
func EndAbsence(c *plantdb.Change, id, rowID int64) error {
	return end[assets.Absence](c, id, rowID, func(a *assets.Absence) int64 { return a.CustomerID })
}
