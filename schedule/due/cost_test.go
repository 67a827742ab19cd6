package due_test

import (
	"testing"

	"carryside/assets"
	"carryside/schedule/due"
)

func TestWhatAReplacementCosts(t *testing.T) {
	v := func(q string, x float64, unit string) assets.CatalogueValue {
		return assets.CatalogueValue{Quantity: q, Value: x, Unit: unit, Class: assets.ClassP}
	}
	for name, tt := range map[string]struct {
		values             []assets.CatalogueValue
		perHour            float64
		planned, unplanned float64
		words              string
		ok                 bool
	}{
		"hours of work only":   {[]assets.CatalogueValue{v("work_h", 8, "h")}, 0, 8, 14, "planned 8 h of stop, after a failure 14 h, rule of thumb; no cost per hour given", true},
		"with a cost per hour": {[]assets.CatalogueValue{v("work_h", 8, "h")}, 3800, 30_400, 53_200, "planned 8 h, after a failure 14 h, rule of thumb, at EUR 3\u00a0800 an hour", true},
		"everything given": {[]assets.CatalogueValue{v("planned_stop_h", 0.5, "h"), v("unplanned_stop_h", 12, "h"), v("labour_cost", 4000, "EUR"), v("call_out_cost", 1500, "EUR"), v("belt_cost", 800, "EUR")},
			3800, 1900 + 4800, 45_600 + 6300, "planned 0.5 h, after a failure 12 h, at EUR 3\u00a0800 an hour", true},
		"labour in another currency": {[]assets.CatalogueValue{v("work_h", 2, "h"), v("unplanned_stop_h", 3, "h"), v("labour_cost", 9000, "NOK")}, 1000, 2000, 3000,
			"planned 2 h, after a failure 3 h, at EUR 1\u00a0000 an hour; labour cost in NOK left out", true},
		"nothing in the catalogue": {nil, 3800, 0, 0, "", false},
	} {
		t.Run(name, func(t *testing.T) {
			c, ok := due.CostOf(assets.SpliceKind{Values: tt.values}, assets.Conveyor{StopCostPerHour: tt.perHour}, "EUR")
			if ok != tt.ok || c.Planned != tt.planned || c.Unplanned != tt.unplanned || c.Words != tt.words {
				t.Errorf("%+v %v", c, ok)
			}
		})
	}
}
