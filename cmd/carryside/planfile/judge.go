package planfile

import (
	"fmt"
	"sort"
	"strings"

	"carryside/schedule/plan"
)

// judge holds the rules that need the whole case.
func (r *reader) judge() error {
	for _, rule := range []func(*plan.Case) error{travelRules, stopsApart, optionsFit, noCycle} {
		if err := rule(r.c); err != nil {
			return err
		}
	}
	return nil
}

// travelRules: nothing from a site to itself, and no detour is shorter than the way.
func travelRules(c *plan.Case) error {
	for a := range c.Travel {
		if c.Travel[a][a] != 0 {
			return fmt.Errorf("travel from site %s to itself is %d, not 0", c.Sites[a], c.Travel[a][a])
		}
	}
	for a, row := range c.Travel {
		for b, direct := range row {
			for by := range c.Travel {
				if over := row[by] + c.Travel[by][b]; direct > over {
					return fmt.Errorf("travel breaks the triangle inequality: site %s to %s is %d min, by site %s it is %d min",
						c.Sites[a], c.Sites[b], direct, c.Sites[by], over)
				}
			}
		}
	}
	return nil
}

// stopsApart: windows of one conveyor never overlap.
func stopsApart(c *plan.Case) error {
	windows := make([][]int, len(c.Conveyors))
	for w := range c.Windows {
		for _, k := range c.Windows[w].Scope {
			windows[k] = append(windows[k], w)
		}
	}
	for k, list := range windows {
		sort.SliceStable(list, func(a, b int) bool { return c.Windows[list[a]].Start < c.Windows[list[b]].Start })
		for i := 1; i < len(list); i++ {
			a, b := &c.Windows[list[i-1]], &c.Windows[list[i]]
			if a.End > b.Start {
				return fmt.Errorf("conveyor %s stands still in two overlapping windows: %s ends at %d, %s starts at %d",
					c.Conveyors[k].ID, a.ID, a.End, b.ID, b.Start)
			}
		}
	}
	return nil
}

// optionsFit: a window of a job's costs stops its conveyor, and with isolation its whole group.
func optionsFit(c *plan.Case) error {
	members := make([][]int, len(c.Groups))
	for k := range c.Conveyors {
		members[c.Conveyors[k].Group] = append(members[c.Conveyors[k].Group], k)
	}
	stops := make([]map[int]bool, len(c.Windows))
	for w := range c.Windows {
		stops[w] = make(map[int]bool, len(c.Windows[w].Scope))
		for _, k := range c.Windows[w].Scope {
			stops[w][k] = true
		}
	}
	for i := range c.Jobs {
		j := &c.Jobs[i]
		for _, o := range j.Options {
			if err := optionFits(c, j, o.Window, stops[o.Window], members[c.Conveyors[j.Conveyor].Group]); err != nil {
				return err
			}
		}
	}
	return nil
}

// optionFits judges one window of one job.
func optionFits(c *plan.Case, j *plan.Job, w int, stops map[int]bool, group []int) error {
	if !stops[j.Conveyor] {
		return fmt.Errorf("job %s: its conveyor %s is not in the scope of window %s", j.ID, c.Conveyors[j.Conveyor].ID, c.Windows[w].ID)
	}
	if !j.Isolation {
		return nil
	}
	for _, k := range group {
		if !stops[k] {
			return fmt.Errorf("job %s: window %s does not stop its whole isolation group %s: conveyor %s runs",
				j.ID, c.Windows[w].ID, c.Groups[c.Conveyors[k].Group].ID, c.Conveyors[k].ID)
		}
	}
	return nil
}

// noCycle: no job waits for itself by way of others. Jobs that wait for nobody are taken off until none is left, or a cycle is.
func noCycle(c *plan.Case) error {
	waits, after := make([]int, len(c.Jobs)), make([][]int, len(c.Jobs))
	for _, p := range c.Precedences {
		waits[p.After]++
		after[p.Before] = append(after[p.Before], p.After)
	}
	var free []int
	for j, n := range waits {
		if n == 0 {
			free = append(free, j)
		}
	}
	done := 0
	for ; done < len(free); done++ {
		for _, k := range after[free[done]] {
			if waits[k]--; waits[k] == 0 {
				free = append(free, k)
			}
		}
	}
	if done == len(c.Jobs) {
		return nil
	}
	return fmt.Errorf("precedences form a cycle among the jobs %s", strings.Join(cycle(c, waits), ", "))
}

// cycle walks from a held job to one it waits for until one is met again.
func cycle(c *plan.Case, waits []int) []string {
	before := make([]int, len(c.Jobs))
	for _, p := range c.Precedences {
		if waits[p.After] > 0 && waits[p.Before] > 0 {
			before[p.After] = p.Before
		}
	}
	at := 0
	for waits[at] == 0 {
		at++
	}
	seen := make([]bool, len(c.Jobs))
	for ; !seen[at]; at = before[at] {
		seen[at] = true
	}
	names := []string{c.Jobs[at].ID}
	for k := before[at]; k != at; k = before[k] {
		names = append(names, c.Jobs[k].ID)
	}
	return names
}
