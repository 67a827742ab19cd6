package reports_test

import (
	"context"
	"strings"
	"time"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/clock"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// smallPlant is a source of one plant in Berlin's zone with two lines and five splices.
//
// Conveyor Q3 at 0.5 m/s on a loop of 50 m: 3600 x 0.5 / 50 = 36 passes an hour. Its meter:
//
//	15 Sep 2023 00:00   10 000.0 h
//	 1 Jul 2025 00:00   15 837.5 h
//	25 Nov 2026 12:00   20 000.0 h
//
// Conveyor B10 has no meter. As of 30 June 2025, that is 1 July 2025 00:00, by hand:
//
//	Q3 S1  made 14 Sep 2023: 15 Sep 2023 to 15 Sep 2024 is 366 days (29 Feb 2024), to 1 Jul 2025
//	       15+31+30+31+31+28+31+30+31+30+1 = 289 more: 655 days. 5 837.5 h. 5 837.5 x 36 = 210 150 passes.
//	Q3 S2  made 1 Jul 2024 at 00:00: 365 days. From the first reading 290 days, of 655 to the second (summer
//	       time at all three, so these are days of 24 hours). H = 10 000 + 5 837.5 x 290/655 = 12 584.542; 15 837.5 - 12 584.542 = 3 252.958 h,
//	       117 106 passes.
//	Q3 S3  made "spring 2022" (1 Mar to 31 May): 2 Mar 2022 to 2 Mar 2025 is 1 096 days, to 1 Jul 2025
//	       29+30+31+30+1 = 121: 1 217 days; at least, from 1 Jun 2022 to 1 Jun 2025 1 096 and 30: 1 126.
//	       The meter was first read later: at least 5 837.5 h.
//	B10 =1 date not known.
//	Q3 S9  made 3 Jul 2025: not there yet.
type smallPlant struct {
	plant  reports.Plant
	rules  []rules.Rule
	clocks due.Clocks
	name   reports.PlantName
}

var (
	berlin = mustZone("Europe/Berlin")
	built  = local("2026-11-25T12:00")
)

func mustZone(name string) *time.Location {
	l, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return l
}

func local(s string) time.Time {
	t, err := time.ParseInLocation("2006-01-02T15:04", s, berlin)
	if err != nil {
		panic(err)
	}
	return t.UTC()
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func newSmallPlant() *smallPlant {
	p := reports.Plant{}
	small := &smallPlant{}
	reg := &assets.Register{}
	p.Register = reg
	reg.Plant = assets.Plant{Version: assets.Version{ID: 1}, CustomerID: 7, Name: "Skarrow Grain Terminal", Zone: "Europe/Berlin"}
	reg.Lines = []assets.Line{{Version: assets.Version{ID: 1}, Name: "Ship intake", Position: 1}, {Version: assets.Version{ID: 2}, Name: "=Bagging", Position: 2}}
	q3 := assets.Conveyor{Version: assets.Version{ID: 10}, LineID: 1, Tag: "Q3", SpeedMPS: 0.5, Pulleys: make([]assets.Pulley, 2)}
	b10 := assets.Conveyor{Version: assets.Version{ID: 11}, LineID: 2, Tag: "B10", SpeedMPS: 1}
	reg.Conveyors = []assets.Conveyor{b10, q3}
	belts := []assets.Belt{{Version: assets.Version{ID: 20}, ConveyorID: 10, LoopLengthM: 50}, {Version: assets.Version{ID: 21}, ConveyorID: 11, LoopLengthM: 20}}
	reg.Belts = belts
	splice := func(id, conveyor, belt int64, number string, made assets.When) assets.Splice {
		return assets.Splice{Version: assets.Version{ID: id}, ConveyorID: conveyor, BeltID: belt, Number: number,
			Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Made: made, MadeBy: "R. Asquenne"}
	}
	reg.Splices = []assets.Splice{
		splice(34, 11, 21, "=1", assets.When{At: assets.InstantOf(local("2024-05-01T08:00")), AsWritten: "?"}),
		splice(33, 10, 20, "3", must(assets.Between("2022-03-01", "2022-05-31", "spring 2022", berlin, built))),
		splice(31, 10, 20, "1", must(assets.OnDay("2023-09-14", berlin, built))),
		splice(32, 10, 20, "2", assets.Exactly(local("2024-07-01T00:00"), berlin)),
		splice(39, 10, 20, "9", must(assets.OnDay("2025-07-03", berlin, built))),
	}
	reg.Splices[3].MadeBy = "@crew two"
	reg.Arrange()
	read := clock.NewLine([]clock.Point{{At: local("2023-09-15T00:00"), Hours: 10000}, {At: local("2025-07-01T00:00"), Hours: 15837.5}, {At: built, Hours: 20000}})
	line := due.NewLine(read, clock.Project(read, nil, 90*24*time.Hour, time.Time{}))
	small.clocks = due.Clocks{Lines: map[int64]due.Line{10: line}, Duties: map[int64]clock.Duty{
		20: due.Duty([]assets.Conveyor{q3}, belts[:1]), 21: due.Duty([]assets.Conveyor{b10}, belts[1:]),
	}}
	limit := rules.Rule{Version: assets.Version{ID: 1}, Name: "Hot vulcanised: 364 000 passes", Class: assets.ClassC,
		Trigger: rules.Trigger{Kind: rules.TriggerPasses, Passes: 364000}, Template: rules.Template{Kind: workorder.KindResplice}}
	small.rules = []rules.Rule{limit}
	grade := 2
	p.Findings = map[int64]assets.Finding{31: {FoundDay: "2025-06-11", Category: "edge open", Grade: &grade}}
	p.Chains = []reports.ChainRead{{Name: "Journal of Skarrow Holdings", Chain: 2, Entry: 1842, Hash: strings.Repeat("5e", 32)}}
	small.plant = p
	small.name = reports.PlantName{ID: 1, Name: "Skarrow Grain Terminal", Customer: "Skarrow Holdings", Zone: berlin}
	return small
}

func (s *smallPlant) Plants(context.Context) ([]reports.PlantName, error) {
	return []reports.PlantName{s.name}, nil
}

func (s *smallPlant) PlantAt(_ context.Context, _ int64, at time.Time) (reports.Plant, error) {
	p := s.plant
	p.Forecasts = due.Forecasts(at, p.Register, s.rules, s.clocks, due.LifeModel{})
	p.Standings = due.Together(at, p.Register.Plant, due.Plant(at, p.Register, s.rules, s.clocks), p.Forecasts)
	return p, nil
}

func smallReport(day assets.Day, filter string) *reports.Report {
	entry := must(reports.Find("splice-age"))
	in := reports.Inputs{Source: newSmallPlant(), Built: built, By: "N. Corvane, auditor", Version: "1.0", Filter: must(reports.ParseFilter(filter))}
	return must(entry.Build(context.Background(), in, day))
}
