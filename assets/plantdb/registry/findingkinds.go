package registry

import (
	"context"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// mostGradeWords bounds what a grade means, in letters: it stands on a button of a phone.
const mostGradeWords = 90

// FindingKinds lists the kinds of finding: those of the trade with what the company says of them, and its own behind.
func FindingKinds(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf) (assets.FindingKinds, error) {
	own, err := list[assets.FindingKind](db.SQL(ctx).Scopes(asOf.OfCompany().Rows).Order("name_key, id"))
	return assets.TradeKinds().With(own), err
}

// SaveFindingKind adds a kind of finding (ID 0) or changes it from now on. The name of a kind stays what it is: findings carry it.
func SaveFindingKind(c *plantdb.Change, next *assets.FindingKind) error {
	bad := assets.Invalid{}
	next.Name = strings.Join(strings.Fields(next.Name), " ")
	needText(bad, "name", next.Name, "the kind's name")
	next.NameKey = assets.NameKey(next.Name)
	if len(next.GradeWords) != len(assets.GradeWords) {
		bad.Add("grade_0", "give words for each of the grades 0 to 4")
	}
	for i, w := range next.GradeWords {
		next.GradeWords[i] = strings.Join(strings.Fields(w), " ")
		if len([]rune(next.GradeWords[i])) > mostGradeWords {
			bad.Add(gradeField(i), "say it in 90 letters or less; it stands on a button")
		}
	}
	if next.NameKey == assets.OtherKind && next.LeftOut {
		bad.Add("left_out", "other stays on the list: it takes what no kind names")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	own, err := list[assets.FindingKind](c.Tx().Scopes(plantdb.AsOf{}.OfCompany().Rows).Where("name_key = ?", next.NameKey))
	if err != nil {
		return err
	}
	if i := slices.IndexFunc(own, func(k assets.FindingKind) bool { return k.ID != next.ID }); i >= 0 {
		return assets.Invalid{"name": "a kind of this name is on the list already; change that"}
	}
	if next.ID != 0 && (len(own) == 0 || own[0].NameKey != next.NameKey) {
		return assets.Invalid{"name": "the name of a kind stays: findings carry it. Leave this one out and add another"}
	}
	return saveCatalogue(c, next, c.Now())
}

func gradeField(i int) string { return "grade_" + string(rune('0'+i)) }
