package horizon

import (
	"cmp"
	"fmt"
	"slices"
)

// WhyNoStop says why an order stands in no stop: no plan holds it, no stop stops what has to stand, its latest date comes before
// all of them, all are too short, or nobody has placed it yet.
func (s *Sheet) WhyNoStop(orderID int64) string {
	j, ok := s.jobOf[orderID]
	if !ok {
		return s.whyUnplanned(orderID)
	}
	job := &s.Case.Jobs[j]
	if len(job.Options) == 0 {
		return s.noStop(j)
	}
	if late := s.tooLate(j); late != "" {
		return late
	}
	need, group := job.Duration, s.Case.Groups[s.Case.Conveyors[job.Conveyor].Group]
	if job.Isolation {
		need += group.Isolate + group.Restart
	}
	longest := slices.MaxFunc(s.windowsOf(j), func(a, b int) int { return cmp.Compare(s.Case.Windows[a].Minutes(), s.Case.Windows[b].Minutes()) })
	if long := s.Case.Windows[longest].Minutes(); long < need {
		return fmt.Sprintf("its longest stop on this sheet, %s, is %s; this needs %s", s.Case.Windows[longest].ID, hours(long), hours(need))
	}
	return "nobody has placed it; a re-plan looks for its stop"
}

// windowsOf are the windows a job may be done in.
func (s *Sheet) windowsOf(j int) []int {
	var out []int
	for _, o := range s.Case.Jobs[j].Options {
		out = append(out, o.Window)
	}
	return out
}
