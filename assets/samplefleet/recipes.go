package samplefleet

import (
	"math"
	"math/rand/v2"
	"time"

	"carryside/assets"
	"carryside/schedule/press"
)

// recipe is an invented recipe inside the usual bands (common practice); no maker's chart stands behind it, so its class is D.
type recipe struct {
	name    string
	form    assets.Form
	bond    assets.Bond
	figures [15]float64 // in the order of press.Quantities
	cure    []float64   // reference, least, most; nil: none
}

var recipes = []recipe{
	{"HV 145", assets.FormStepped, assets.BondHotVulcanised, [15]float64{145, 145, 5, 2, 4, 60, 30, 45, 6, 1e6, 10, 6, 60, 60, 145}, []float64{145, 28, 60}},
	{"Finger 175", assets.FormFinger, assets.BondHotPressed, [15]float64{175, 175, 4, 10, 30, 14, 3, 6, 6, 2e5, 10, 5, 15, 50, 30}, nil},
	{"Finger over finger 170", assets.FormFingerOverFinger, assets.BondHotPressed, [15]float64{170, 168, 4, 10, 30, 14, 4, 7, 6, 2e5, 10, 6, 15, 50, 32}, nil},
}

// pressYears is how far back press records go: the firm began to keep them then.
const pressYears = 3

// pressed gives the company its recipes, in two editions where a dwell was lengthened, and the splices of the last years their
// press records: figures read off the press, most of them inside the recipe.
func (b *builder) pressed() {
	chance := rand.New(rand.NewPCG(145, 35)) // of its own, so that the fleet's history does not hang on it
	changed := b.today.AddDate(-1, -3, 0)
	for _, d := range recipes {
		first := b.edition(d, 1, b.today.AddDate(-pressYears, 0, 0), "")
		next := first
		next.RowID, next.Edition, next.ValidFrom, next.SavedAt = 0, 2, assets.InstantOf(changed), assets.InstantOf(changed)
		next.Values = longerDwell(first.Values)
		next.Changed = "dwell longer by a sixth: two test pieces of version 1 opened at the tips"
		end := next.ValidFrom
		first.ValidTo = &end
		b.fleet.Recipes = append(b.fleet.Recipes, first, next)
		for _, s := range b.fleet.Splices {
			if s.Form != d.form || s.Bond != d.bond || s.Made.At.Time().Before(first.SavedAt.Time()) || s.Made.At.Time().After(b.today) {
				continue
			}
			of := first
			if s.Made.At >= next.ValidFrom {
				of = next
			}
			b.pressRecord(chance, s, of)
		}
	}
}

func (b *builder) edition(d recipe, n int64, at time.Time, changed string) assets.Recipe {
	r := assets.Recipe{Version: b.version("recipes", at), Name: d.name, NameKey: assets.NameKey(d.name), Form: d.form, Bond: d.bond, Edition: n, Changed: changed,
		SavedBy: b.people[assets.NameKey(lead)], SavedAt: assets.InstantOf(at)}
	for i, v := range append(d.figures[:], append([]float64{5, 2}, d.cure...)...) {
		q := press.Quantities[i]
		r.Values = append(r.Values, assets.CatalogueValue{Quantity: q.Name, Value: v, Unit: q.Unit, Class: assets.ClassD, Source: "common practice; the maker's chart for the belt comes first"})
	}
	return r
}

// longerDwell lengthens dwell and whole cycle by a sixth of the dwell.
func longerDwell(values []assets.CatalogueValue) []assets.CatalogueValue {
	out := append([]assets.CatalogueValue(nil), values...)
	least, _ := assets.ValueOf(values, "dwell_least_min")
	for i := range out {
		switch out[i].Quantity {
		case "dwell_least_min":
			out[i].Value = round(out[i].Value*7/6, 1)
		case "duration_most_min":
			out[i].Value += math.Ceil(least.Value / 6)
		}
	}
	return out
}

// pressRecord draws the figures of one cycle: one in twelve is opened too warm, one in fifteen has no pressure read off.
func (b *builder) pressRecord(chance *rand.Rand, s assets.Splice, of assets.Recipe) {
	by, err := press.FromValues(of.Values)
	if err != nil {
		panic("samplefleet: " + err.Error())
	}
	near := func(lo, hi, at, spread float64, places int) float64 {
		return round(min(hi, max(lo, at+spread*(2*chance.Float64()-1))), places)
	}
	rate := (by.HeatingRate.Min + by.HeatingRate.Max) / 2
	up, dwell, down := (by.SetTopC-20)/rate, by.Dwell.Min*1.08, 0.7*by.CoolingMax
	read := map[string]float64{
		press.HeatingRateTop: near(by.HeatingRate.Min, by.HeatingRate.Max, rate, rate/5, 1), press.HeatingRateBottom: near(by.HeatingRate.Min, by.HeatingRate.Max, rate, rate/5, 1),
		press.TimeToTemperature: near(0, by.TimeToTempMax, up, up/8, 1), press.DwellTime: near(by.Dwell.Min, by.Dwell.Max, dwell, by.Dwell.Min*0.05, 1),
		press.Overshoot: near(0, by.OvershootMaxK, 2, 1.8, 1), press.PressureMin: near(0, 1e3, by.PressureBar*0.97, by.PressureBar*0.02, 2), press.PressureMax: near(0, 1e3, by.PressureBar*1.03, by.PressureBar*0.02, 2),
		press.SpreadInDwell: near(0, by.SpreadMaxK, 2, 1.5, 1), press.ReleaseTemp: near(0, by.ReleaseMaxC, by.ReleaseMaxC-4, 3, 0), press.CoolingTime: near(0, by.CoolingMax, down, down/10, 1),
		press.Duration: near(0, by.DurationMax, up+dwell+down, 3, 0)}
	if by.Cure != nil {
		read[press.EquivalentCure] = near(by.Cure.Minutes.Min, by.Cure.Minutes.Max, dwell, 3, 0)
	}
	rec := assets.PressRecord{Version: b.version("press_records", s.Made.At.Time()), PlantID: s.PlantID, SpliceID: s.ID, OrderID: s.MadeOrderID, RecipeID: of.ID, Edition: of.Edition, Press: "press 1",
		PressedAt: s.Made.At, RecordedAt: s.Made.At, RecordedBy: b.people[assets.NameKey(technician)]}
	switch n := chance.IntN(60); {
	case n < 5:
		read[press.ReleaseTemp] = by.ReleaseMaxC + 2 + float64(chance.IntN(6))
		rec.Reason, rec.ReasonBy = "stop brought forward; opened with heat gloves, edges held flat until cool", rec.RecordedBy
	case n < 9:
		delete(read, press.PressureMin)
		delete(read, press.PressureMax)
	}
	c := press.JudgeFigures(by, read)
	rec.Verdict = string(c.Overall)
	for _, k := range c.Criteria {
		rec.Figures = append(rec.Figures, assets.PressFigure{Name: k.Name, Value: k.Value, Verdict: string(k.Verdict), Why: k.Why})
	}
	b.fleet.PressRecords = append(b.fleet.PressRecords, rec)
}
