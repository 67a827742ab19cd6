package plantdb_test

import (
	"reflect"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

// same compares the rows read the fast way with those gorm reads.
func same[T any](t *testing.T, db *plantdb.DB) {
	t.Helper()
	var want []T
	if err := db.SQL(bg).Order("1").Find(&want).Error; err != nil {
		t.Fatal(err)
	}
	got, err := plantdb.Rows[T](db.SQL(bg).Order("1"))
	if err != nil {
		t.Fatal(err)
	}
	if len(want) == 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("%T:\ngot  %+v\nwant %+v", *new(T), got, want)
	}
}

func TestRowsAreReadAsTheyWereWritten(t *testing.T) {
	s := plantdbtest.Plant(t)
	drop, grade, wet := 12.5, 3, true
	s.Change(t, noon, func(c *plantdb.Change) error {
		conveyor := s.Conveyor
		conveyor.OtherNames, conveyor.ProductC, conveyor.WashDown = []string{"the old one", `50" belt`}, &drop, true
		conveyor.Pulleys = []assets.Pulley{{Role: assets.PulleyTail, DiameterM: 0.5, Placed: true}, {Role: assets.PulleyHead, DiameterM: 0.63, XM: 58.25, Drive: true}}
		if err := registry.AlterConveyor(c, &conveyor, 0); err != nil {
			return err
		}
		f := assets.Finding{SpliceID: s.Splice.ID, FoundAt: assets.InstantOf(noon), Category: "edge", Grade: &grade, Running: &wet, Quantity: "gap", Measurement: &drop}
		if _, err := registry.AddFinding(c, &f); err != nil {
			return err
		}
		return registry.RetireSplice(c, s.Splice.ID, 0, registry.Retirement{When: s.On("2026-01-02"), Why: assets.RetiredFailed})
	})
	same[assets.Plant](t, s.DB)
	same[assets.Conveyor](t, s.DB)
	same[assets.Belt](t, s.DB)
	same[assets.Splice](t, s.DB)
	same[assets.Finding](t, s.DB)
	same[plantdb.Entry](t, s.DB)
	if _, err := plantdb.Rows[assets.Line](s.DB.SQL(bg).Select("*, 1 AS stray")); err == nil {
		t.Error("a column without a field is passed over in silence")
	}
}
