package workbook

import (
	"strings"
	"testing"
)

func TestALongPageHeaderStandsBelowTheNameOfItsSheet(t *testing.T) {
	long := strings.Repeat("Ship intake ", 6) + "A & B" // 77 characters, one of which is doubled
	for _, tt := range []struct {
		layout Layout
		want   string
	}{
		{Layout{Header: "Ship intake", Portrait: true}, "&LShip intake&R&A"},
		{Layout{Header: long, Portrait: true}, "&L&A\n" + strings.ReplaceAll(long, "&", "&&")},
		{Layout{Header: long}, "&L" + strings.ReplaceAll(long, "&", "&&") + "&R&A"},
	} {
		if got := (&Sheet{layout: tt.layout}).pageHeader(); got != tt.want {
			t.Errorf("%+v: %q, want %q", tt.layout, got, tt.want)
		}
	}
}
