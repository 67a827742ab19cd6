package calc

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/schedule/calendar"
	"carryside/schedule/keyfigures"
)

// localLayout is how the times of a case are written. They are local; the period has no clock change, so that they can
// be computed with as if they were UTC.
const localLayout = "2006-01-02T15:04"

// keyFigures computes the key figures of the orders given beside the case.
func keyFigures(c *Case) (any, error) {
	period := keyfigures.Period{From: c.Object("period").local("from_local"), Until: c.Object("period").local("until_local")}
	crewIn := c.Object("crew")
	crew := keyfigures.Crew{People: crewIn.Number("people"), HoursPerWeek: crewIn.Number("hours_per_week"), AvailableShare: crewIn.Number("available_share")}
	var plants []keyfigures.Plant
	for _, p := range c.Objects("plants") {
		plants = append(plants, plantOf(p))
	}
	if c.Err() != nil {
		return nil, nil
	}
	if c.beside.Orders == nil {
		return nil, errors.New("key-figures needs its orders; give them with --orders FILE")
	}
	orders, err := readOrders(c.beside.Orders)
	if err != nil {
		return nil, err
	}
	return map[string]any{
		"figures":     figuresOf(keyfigures.Compute(orders, period, crew)),
		"reliability": standingOf(keyfigures.Measure(orders, plants, period)),
	}, nil
}

// local reads a needed local time.
func (f *Fields) local(name string) time.Time {
	t, err := time.Parse(localLayout, f.Text(name))
	if err != nil {
		f.fail(name, "a local time such as 2025-06-01T00:00")
	}
	return t
}

// hourOfDay reads a needed hour of the day, 24 for its end.
func (f *Fields) hourOfDay(name string) calendar.TimeOfDay {
	h := f.Number(name)
	if !(0 <= h && h <= 24) {
		f.fail(name, "an hour from 0 to 24")
		return 0
	}
	return calendar.TimeOfDay(math.Round(h * 3600))
}

func plantOf(f *Fields) keyfigures.Plant {
	p := keyfigures.Plant{Name: f.Text("name"), From: f.hourOfDay("from_h"), To: f.hourOfDay("to_h")}
	f.Decode("conveyors", "a list of tags", &p.Conveyors)
	var days []string
	f.Decode("days", "a list of days such as Mon", &days)
	for _, d := range days {
		i := slices.Index([]string{"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"}, d)
		if i < 0 {
			f.fail("days", "a list of days such as Mon")
		}
		p.Days = append(p.Days, time.Weekday(i))
	}
	return p
}

// orderRow reads the cells of one row of orders by their headings and keeps the first that cannot be read.
type orderRow struct {
	at    map[string]int
	cells []string
	err   error
	line  int
}

func (r *orderRow) text(name string) string { return r.cells[r.at[name]] }

func (r *orderRow) yes(name string) bool { return r.text(name) == "yes" }

func (r *orderRow) time(name string) time.Time {
	if r.text(name) == "" {
		return time.Time{}
	}
	t, err := time.Parse(localLayout, r.text(name))
	r.keep(name, "a local time such as 2025-06-01T00:00", err)
	return t
}

func (r *orderRow) number(name string) float64 {
	if r.text(name) == "" {
		return 0
	}
	v, err := strconv.ParseFloat(r.text(name), 64)
	if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
		err = strconv.ErrRange
	}
	r.keep(name, "a number", err)
	return v
}

func (r *orderRow) keep(name, want string, err error) {
	if err != nil && r.err == nil {
		r.err = fmt.Errorf("orders, line %d: %s is not %s; correct it", r.line, name, want)
	}
}

var orderColumns = []string{"plant", "conveyor", "kind", "class", "raised", "latest", "interval_days", "window_start", "window_end",
	"done", "state", "estimated_h", "worked_h", "planned", "failure", "down_from", "down_to", "ready"}

// readOrders reads the CSV of orders.
func readOrders(file []byte) ([]keyfigures.Order, error) {
	records, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(file, []byte("\ufeff")))).ReadAll()
	if err != nil || len(records) == 0 {
		return nil, fmt.Errorf("the orders are no CSV with a line of headings: %s", strings.ReplaceAll(fmt.Sprint(err), "\n", " "))
	}
	at := map[string]int{}
	for i, name := range records[0] {
		at[strings.TrimSpace(name)] = i
	}
	for _, name := range orderColumns {
		if _, there := at[name]; !there {
			return nil, fmt.Errorf("the orders have no column %s; add it", name)
		}
	}
	orders := make([]keyfigures.Order, 0, len(records)-1)
	for i, cells := range records[1:] {
		r := &orderRow{at: at, cells: cells, line: i + 2}
		orders = append(orders, r.order())
		if r.err != nil {
			return nil, r.err
		}
	}
	return orders, nil
}

func (r *orderRow) order() keyfigures.Order {
	return keyfigures.Order{
		Plant: r.text("plant"), Conveyor: r.text("conveyor"),
		Inspection: r.text("kind") == "inspection", Immediate: r.text("class") == "corrective immediate",
		Planned: r.yes("planned"), Failure: r.yes("failure"), Ready: r.yes("ready"), State: keyfigures.State(r.text("state")),
		Raised: r.time("raised"), Latest: r.time("latest"), Interval: time.Duration(r.number("interval_days") * float64(24*time.Hour)),
		WindowFrom: r.time("window_start"), WindowTo: r.time("window_end"), Done: r.time("done"),
		EstimatedH: r.number("estimated_h"), WorkedH: r.number("worked_h"), DownFrom: r.time("down_from"), DownTo: r.time("down_to"),
	}
}

func figuresOf(f keyfigures.Figures) map[string]any {
	return map[string]any{
		"planned_work_percent": f.PlannedWorkPercent, "reactive_work_percent": f.ReactiveWorkPercent, "worked_h_total": f.WorkedH,
		"planned_work_orders_percent": f.PlannedWorkOrdersPercent, "schedule_compliance_orders_percent": f.ComplianceOrdersPercent,
		"scheduled_orders": f.Scheduled, "scheduled_orders_done_in_window": f.ScheduledDoneInWindow, "schedule_compliance_hours_percent": f.ComplianceHoursPercent,
		"inspections_due": f.InspectionsDue, "inspections_on_time_percent": f.OnTimePercent, "inspections_on_time_with_grace_percent": f.OnTimeWithGracePercent,
		"backlog_h": f.BacklogH, "crew_capacity_h_per_week": f.CrewHoursAWeek, "backlog_crew_weeks": f.BacklogCrewWeeks,
		"ready_backlog_crew_weeks": f.ReadyBacklogCrewWeeks, "overdue_orders_at_period_end": f.Overdue,
	}
}

func standingOf(s keyfigures.Standing) map[string]any {
	list := func(all []keyfigures.Reliability) []any {
		said := make([]any, len(all))
		for i, r := range all {
			said[i] = reliabilityOf(r)
		}
		return said
	}
	return map[string]any{"by_conveyor": list(s.ByConveyor), "by_plant": list(s.ByPlant), "all": reliabilityOf(s.All)}
}

func reliabilityOf(r keyfigures.Reliability) map[string]any {
	said := map[string]any{
		"required_h": r.RequiredH, "down_failures_h": r.DownFailuresH, "down_planned_h": r.DownPlannedH, "up_h": r.UpH, "failures": r.Failures,
		"mean_up_time_between_failures_h": r.UpBetweenFailuresH, "mean_time_to_restoration_h": r.RestorationH, "mean_repair_hours_worked": r.RepairWorkedH,
		"availability_percent": r.AvailabilityPercent, "availability_failures_only_percent": r.FailuresOnlyPercent,
	}
	if r.Plant != "" {
		said["plant"] = r.Plant
	}
	if r.Conveyor != "" {
		said["conveyor"] = r.Conveyor
	}
	return said
}
