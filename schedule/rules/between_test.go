package rules_test

import (
	"testing"
	"time"

	"carryside/schedule/rules"
)

func TestHowLongARuleLeavesBetweenTwoOrders(t *testing.T) {
	for _, tt := range []struct {
		trigger rules.Trigger
		days    int
	}{
		{rules.Trigger{Kind: rules.TriggerInterval, Every: 2, Unit: "week"}, 14},
		{rules.Trigger{Kind: rules.TriggerInterval, Every: 1, Unit: "year"}, 365},
		{rules.Trigger{Kind: rules.TriggerHours, Every: 2, Unit: "week"}, 0},
		{rules.Trigger{Kind: rules.TriggerGrade, Grade: 3}, 0},
	} {
		if got := tt.trigger.Between(); got != time.Duration(tt.days)*24*time.Hour {
			t.Errorf("%+v leaves %v, want %d days", tt.trigger, got, tt.days)
		}
	}
}
