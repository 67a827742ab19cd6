package reports_test

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/reports"
)

// twoSides has a plant on either side of the date line and writes down the instant each was looked at.
type twoSides struct{ looked map[int64]time.Time }

func (s twoSides) Plants(context.Context) ([]reports.PlantName, error) {
	customers := []assets.Customer{{Version: assets.Version{ID: 1}, Name: "Skarrow Holdings"}}
	return reports.PlantNames(customers, []assets.Plant{
		{Version: assets.Version{ID: 2}, CustomerID: 1, Name: "Quay 10", Zone: "Pacific/Auckland"},
		{Version: assets.Version{ID: 1}, CustomerID: 1, Name: "Quay 9", Zone: "America/Los_Angeles"},
	}), nil
}

func (s twoSides) PlantAt(_ context.Context, id int64, at time.Time) (reports.Plant, error) {
	s.looked[id] = at
	if id == 3 {
		return reports.Plant{}, errors.New("no such plant")
	}
	reg := &assets.Register{}
	reg.Arrange()
	return reports.Plant{Register: reg, Chains: []reports.ChainRead{{Name: "Journal of Skarrow Holdings", Chain: 2, Entry: 12, Hash: "5e"}}}, nil
}

// 30 June 2025 is over in Auckland (UTC+12, winter) at 12:00 UTC that day and in Los Angeles (UTC-7, summer time)
// at 07:00 UTC the next.
func TestEachPlantsDayEndsInItsOwnZone(t *testing.T) {
	s := twoSides{map[int64]time.Time{}}
	entry := must(reports.Find("splice-age"))
	r := must(entry.Build(context.Background(), reports.Inputs{Source: s, Built: built, Zone: berlin}, "2025-06-30"))
	var b bytes.Buffer
	proof := must(r.WritePage(context.Background(), &b))
	want := map[int64]time.Time{1: time.Date(2025, 7, 1, 7, 0, 0, 0, time.UTC), 2: time.Date(2025, 6, 30, 12, 0, 0, 0, time.UTC)}
	for id, at := range want {
		if !s.looked[id].Equal(at) {
			t.Errorf("plant %d was looked at at %s, want %s", id, s.looked[id], at)
		}
	}
	if proof.Rows != 0 || r.Scope != "all 2 plants" || r.Zone != berlin {
		t.Errorf("%d rows of %q, told in %s", proof.Rows, r.Scope, r.Zone)
	}
	if strings.Count(b.String(), "chain 2 entry 12 5e") != 1 {
		t.Error("one journal stands once in the basis")
	}
}

func TestPlantsStandInTheOrderPeopleCount(t *testing.T) {
	plants := must(twoSides{}.Plants(context.Background()))
	if plants[0].Name != "Quay 9" || plants[1].Name != "Quay 10" || plants[0].Customer != "Skarrow Holdings" {
		t.Errorf("%+v", plants)
	}
}

// broken fails at its second plant.
type broken struct{ twoSides }

func (b broken) Plants(ctx context.Context) ([]reports.PlantName, error) {
	plants, err := b.twoSides.Plants(ctx)
	return append(plants, reports.PlantName{ID: 3, Name: "Quay 11", Zone: berlin}), err
}

func TestSourceThatFailsIsSaid(t *testing.T) {
	entry := must(reports.Find("splice-age"))
	r := must(entry.Build(context.Background(), reports.Inputs{Source: broken{twoSides{map[int64]time.Time{}}}, Built: built}, ""))
	var b bytes.Buffer
	for name, write := range map[string]func() (reports.Proof, error){
		"xlsx": func() (reports.Proof, error) { return r.WriteXLSX(context.Background(), &b) }, "csv": func() (reports.Proof, error) { return r.WriteCSV(context.Background(), &b) },
		"json": func() (reports.Proof, error) { return r.WriteJSON(context.Background(), &b) }, "html": func() (reports.Proof, error) { return r.WritePage(context.Background(), &b) },
	} {
		if _, err := write(); err == nil || !strings.Contains(err.Error(), "read Quay 11: no such plant") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestCancelledReportStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var b bytes.Buffer
	if _, err := smallReport("", "").WriteCSV(ctx, &b); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled report said %v", err)
	}
}

func TestUnknownReportNamesThoseThereAre(t *testing.T) {
	if _, err := reports.Find("stock"); !errors.Is(err, assets.ErrNotFound) || !strings.Contains(err.Error(), "splice-age") {
		t.Errorf("%v", err)
	}
}
