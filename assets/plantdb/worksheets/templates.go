package worksheets

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/jobsheet"
	"carryside/schedule/workorder"
)

// mostSteps bounds a template: nobody works through more on a sheet.
const mostSteps = 80

// Templates lists the company's templates in their newest edition.
func Templates(ctx context.Context, db *plantdb.DB) ([]assets.JobTemplate, error) {
	return plantdb.Rows[assets.JobTemplate](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).Order("order_kind, form, bond, id"))
}

// For returns the template of a kind of work at a splice kind: the company's own, first the one for just this kind of splice; else (ID 0)
// the steps the program knows.
func For(ctx context.Context, db *plantdb.DB, kind workorder.Kind, form assets.Form, bond assets.Bond) (assets.JobTemplate, error) {
	all, err := Templates(ctx, db)
	if err != nil {
		return assets.JobTemplate{}, err
	}
	return jobsheet.For(all, kind, form, bond), nil
}

// SaveTemplate adds a template (ID 0) as its first edition, or makes next the edition after the one that was read (next.RowID).
func SaveTemplate(c *plantdb.Change, next *assets.JobTemplate) error {
	if err := checkTemplate(c, next); err != nil {
		return err
	}
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	next.SavedBy, next.SavedAt = c.Act.PersonID, c.Now()
	if next.ID == 0 {
		next.Edition, next.ValidFrom = 1, c.Now()
		return plantdb.Create(c, ch, next)
	}
	held, err := plantdb.ReadRow[assets.JobTemplate](c, next.ID)
	if err != nil {
		return err
	}
	if held.RowID != next.RowID {
		return assets.ErrConflict
	}
	next.Edition = held.Edition + 1
	return plantdb.Amend(c, ch, next, c.Now())
}

var stepKey = regexp.MustCompile(`^[a-z0-9_]{1,40}$`)

func checkTemplate(c *plantdb.Change, next *assets.JobTemplate) error {
	bad := assets.Invalid{}
	if !slices.Contains(workorder.Kinds, workorder.Kind(next.OrderKind)) {
		bad.Add("order_kind", "choose the kind of work from the list")
	}
	if n := len(next.Steps); n == 0 || n > mostSteps {
		bad.Add("steps", fmt.Sprintf("a sheet has from 1 to %d steps", mostSteps))
	}
	if next.ID != 0 && strings.TrimSpace(next.Changed) == "" {
		bad.Add("changed", "say what this version changes, and why")
	}
	seen := map[string]bool{}
	for i, s := range next.Steps {
		at := fmt.Sprintf("steps.%d", i)
		switch {
		case !stepKey.MatchString(s.Key) || seen[s.Key]:
			bad.Add(at, "each step needs a key of its own: small letters, digits and underscores")
		case strings.TrimSpace(s.Words) == "":
			bad.Add(at, "say what is done at this step")
		case s.Measure != "" && s.Unit == "":
			bad.Add(at, "give the unit of what is measured")
		case s.Least != nil && s.Most != nil && *s.Most < *s.Least:
			bad.Add(at, "the most is below the least")
		}
		seen[s.Key] = true
	}
	var same int64
	err := c.Tx().Raw("SELECT count(*) FROM job_templates WHERE order_kind = ? AND form = ? AND bond = ? AND id <> ? AND known_to IS NULL AND valid_to IS NULL",
		next.OrderKind, next.Form, next.Bond, next.ID).Scan(&same).Error
	if err != nil {
		return err
	}
	if same > 0 {
		bad.Add("order_kind", "there is a template for this kind of work and splice already; change that one")
	}
	return bad.Err()
}
