package worksheets_test

import (
	"errors"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/worksheets"
	"carryside/schedule/jobsheet"
	"carryside/schedule/workorder"
)

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// opened is a plant with a re-splice whose sheet is open.
func opened(t *testing.T) (*plantdbtest.Site, workorder.Order, assets.JobSheet) {
	t.Helper()
	s := plantdbtest.Plant(t)
	o := workorder.Order{PlantID: s.Plant.ID, Kind: workorder.KindResplice, ConveyorID: s.Conveyor.ID, BeltID: s.Belt.ID, SpliceID: s.Splice.ID, Title: "remake it", Reason: "the test says so"}
	var sheet assets.JobSheet
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		if err := orders.RaiseByHand(c, &o); err != nil {
			return err
		}
		var err error
		sheet, err = worksheets.Open(c, o, assets.FormFinger, assets.BondHotPressed)
		return err
	})
	return s, o, sheet
}

func note(s *plantdbtest.Site, t *testing.T, sheet assets.JobSheet, e assets.JobEntry) (again bool, err error) {
	t.Helper()
	err = s.DB.Change(t.Context(), plantdb.Act{Origin: plantdb.Screen, Action: "note", Now: plantdbtest.Noon, Plants: []int64{s.Plant.ID}}, func(c *plantdb.Change) error {
		next := e
		var err error
		again, err = worksheets.Note(c, sheet, &next)
		return err
	})
	return again, err
}

func TestStepSentTwiceFromAPhoneIsNotedOnce(t *testing.T) {
	s, o, sheet := opened(t)
	e := assets.JobEntry{StepKey: "clamped", State: jobsheet.Done, At: assets.InstantOf(plantdbtest.Noon), ClientID: "phone-1-17"}
	for i, want := range []bool{false, true, true} {
		again, err := note(s, t, sheet, e)
		must(t, err)
		if again != want {
			t.Errorf("sent %d: again %v, want %v", i, again, want)
		}
	}
	kept, there, err := worksheets.Of(t.Context(), s.DB, s.Scope, o.ID)
	must(t, err)
	if !there || len(kept.Entries) != 1 {
		t.Errorf("%d entries, want one", len(kept.Entries))
	}
	if _, there, err := worksheets.Of(t.Context(), s.DB, assets.PlantScope(s.Plant.ID+1), o.ID); err != nil || there {
		t.Errorf("another plant sees the sheet (%v)", err)
	}
}

func TestStepThatIsMeasuredNeedsItsValueAndOneNotDoneItsReason(t *testing.T) {
	s, _, sheet := opened(t)
	tests := []struct {
		name, at string
		e        assets.JobEntry
	}{
		{"opened without its temperature", "value", assets.JobEntry{StepKey: "release", State: jobsheet.Done}},
		{"left out without a reason", "note", assets.JobEntry{StepKey: "clamped", State: jobsheet.NotApplicable}},
		{"a step of another sheet", "step", assets.JobEntry{StepKey: "mixed", State: jobsheet.Done}},
		{"a length with a sign", "value", assets.JobEntry{StepKey: "cut_out", State: jobsheet.Done, Value: value(-0.005)}},
		{"a length typed in the wrong unit", "value", assets.JobEntry{StepKey: "cut_out", State: jobsheet.Done, Value: value(1360)}},
		{"opened at nine thousand degrees", "value", assets.JobEntry{StepKey: "release", State: jobsheet.Done, Value: value(9000)}},
		{"no such state", "state", assets.JobEntry{StepKey: "clamped", State: "perhaps"}},
	}
	for _, tt := range tests {
		tt.e.At, tt.e.ClientID = assets.InstantOf(plantdbtest.Noon), tt.name
		_, err := note(s, t, sheet, tt.e)
		var bad assets.Invalid
		if !errors.As(err, &bad) || bad[tt.at] == "" {
			t.Errorf("%s: %v, want a message at %s", tt.name, err, tt.at)
		}
	}
}

func value(v float64) *float64 { return &v }

// The year is a slip of the keys on a screen; what comes from a device, whatever its clock says, is not lost for it.
func TestAStepNotedYearsBackIsAskedForOnAScreenAndTakenFromADevice(t *testing.T) {
	s, _, sheet := opened(t)
	e := assets.JobEntry{StepKey: "clamped", State: jobsheet.Done, At: assets.InstantOf(plantdbtest.Noon.AddDate(-27, 0, 0)), ClientID: "screen-1"}
	var bad assets.Invalid
	if _, err := note(s, t, sheet, e); !errors.As(err, &bad) || bad["at"] == "" {
		t.Errorf("on a screen: %v", err)
	}
	device := int64(3)
	e.ClientID, e.DeviceID, e.DeviceAt, e.SentOffsetUS = "phone-1", &device, &e.At, new(int64)
	if _, err := note(s, t, sheet, e); err != nil {
		t.Errorf("from a device: %v", err)
	}
}

func TestSheetKeepsTheStepsItWasOpenedWithWhenALeadChangesThem(t *testing.T) {
	s, o, sheet := opened(t)
	own := assets.JobTemplate{OrderKind: string(workorder.KindResplice), Form: assets.FormFinger, Bond: assets.BondHotPressed, Steps: []assets.JobStep{{Key: "isolated", Words: "Isolated"}, {Key: "ours", Words: "Our own way"}}}
	must(t, s.DB.Change(t.Context(), plantdb.Act{Origin: plantdb.Screen, Action: "template", Now: plantdbtest.Noon, Company: true}, func(c *plantdb.Change) error { return worksheets.SaveTemplate(c, &own) }))
	now, err := worksheets.For(t.Context(), s.DB, workorder.KindResplice, assets.FormFinger, assets.BondHotPressed)
	must(t, err)
	if now.Edition != 1 || len(now.Steps) != 2 {
		t.Errorf("the next sheet has %d steps of version %d, want the lead's own", len(now.Steps), now.Edition)
	}
	kept, _, err := worksheets.Of(t.Context(), s.DB, s.Scope, o.ID)
	must(t, err)
	if len(kept.Steps) != len(sheet.Steps) || len(kept.Steps) < 10 {
		t.Errorf("the open sheet has %d steps now, want its %d", len(kept.Steps), len(sheet.Steps))
	}
}
