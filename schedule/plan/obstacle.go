package plan

import (
	"fmt"
	"slices"
	"strings"
)

// An obstacle is what keeps one job out of one window whatever the other jobs do.
type obstacle struct {
	kind  obstacleKind
	words string
	// lacking is how many minutes the window is short of, for tooShort.
	lacking int
	// need is the place of the crew or tool need concerned, or the item of the stock.
	need int
}

// An obstacleKind sorts obstacles.
type obstacleKind int

const (
	tooShort obstacleKind = iota
	tooEarly
	tooLate
	noCrew
	noTool
	noStock
	lockedElse
)

// obstacles lists all that keeps job j out of window w by itself: time, persons, tools, stock. Persons and tools are judged with the
// start the job would have if the window were long enough.
func obstacles(c *Case, j, w int) []obstacle {
	job := &c.Jobs[j]
	out := timeObstacles(c, job, w)
	x := option{window: w, site: c.Windows[w].Site}
	x.lo, x.hi = startsIn(c, job, w)
	if x.lo > x.hi {
		x.hi = x.lo
	}
	if l := job.Locked; l != nil {
		if l.Window != w {
			return append(out, obstacle{kind: lockedElse, words: "it is locked in window " + c.Windows[l.Window].ID})
		}
		if l.Start >= 0 {
			if l.Start < x.lo || l.Start > x.hi {
				out = append(out, obstacle{kind: tooEarly, words: fmt.Sprintf("its locked start %s is outside %s to %s", c.at(x.site, l.Start), c.at(x.site, x.lo), c.at(x.site, x.hi))})
			}
			x.lo, x.hi = l.Start, l.Start
		}
	}
	out = append(out, crewObstacles(c, job, &x)...)
	out = append(out, toolObstacles(c, job, &x)...)
	return append(out, stockObstacles(c, job, &x)...)
}

// timeObstacles: the window is too short, or over before the release, or after the deadline.
func timeObstacles(c *Case, job *Job, window int) []obstacle {
	w, g := &c.Windows[window], &c.Groups[c.Conveyors[job.Conveyor].Group]
	need, with := job.Duration, ""
	if job.Isolation {
		need += g.Isolate + g.Restart
		with = " with isolation"
	}
	if need > w.Minutes() {
		return []obstacle{{kind: tooShort, lacking: need - w.Minutes(),
			words: fmt.Sprintf("window %s is %d min, %d min are needed%s", w.ID, w.Minutes(), need, with)}}
	}
	lo, hi := startsIn(c, job, window)
	if lo <= hi {
		return nil
	}
	if job.Deadline >= 0 && job.Deadline-job.Duration < w.Start+(need-job.Duration) && job.Deadline < w.End {
		return []obstacle{{kind: tooLate, words: fmt.Sprintf("window %s starts at %s and the %d min would end after the deadline %s", w.ID, c.at(w.Site, w.Start), job.Duration, c.at(w.Site, job.Deadline))}}
	}
	return []obstacle{{kind: tooEarly, lacking: lo - hi,
		words: fmt.Sprintf("window %s ends at %s; released at %s, %d min of work would end after that%s", w.ID, c.at(w.Site, w.End), c.at(w.Site, job.Release), job.Duration, with)}}
}

// crewObstacles: too few persons of a qualification are there and qualified for the whole of the work.
func crewObstacles(c *Case, job *Job, x *option) []obstacle {
	var out []obstacle
	for n, need := range job.Crew {
		able, holders := 0, 0
		for t := range c.Technicians {
			if slices.ContainsFunc(c.Technicians[t].Qualifications, func(q Qualification) bool { return q.Name == need.Qualification }) {
				holders++
			}
			if len(personStarts(c, t, need.Qualification, x, job.Duration)) > 0 {
				able++
			}
		}
		if able < need.Number {
			out = append(out, obstacle{kind: noCrew, need: n, words: fmt.Sprintf("%d needed as %s in window %s, %d of the %d who hold that can be there for %d min while it is valid",
				need.Number, c.Qualifications[need.Qualification], c.Windows[x.window].ID, able, holders, job.Duration)})
		}
	}
	if job.Locked != nil {
		out = append(out, lockedPersons(c, job, x)...)
	}
	return out
}

// lockedPersons: a locked person cannot serve any need of the job.
func lockedPersons(c *Case, job *Job, x *option) []obstacle {
	var out []obstacle
	for _, t := range job.Locked.Technicians {
		able := slices.ContainsFunc(job.Crew, func(n CrewNeed) bool { return len(personStarts(c, t, n.Qualification, x, job.Duration)) > 0 })
		if !able {
			out = append(out, obstacle{kind: noCrew, words: fmt.Sprintf("technician %s is not there or not qualified then", c.Technicians[t].ID)})
		}
	}
	for _, k := range job.Locked.Tools {
		able := slices.ContainsFunc(job.Tools, func(n ToolNeed) bool {
			return c.Tools[k].Suits(n) && len(toolStarts(c, k, x, job.Duration)) > 0
		})
		if !able {
			out = append(out, obstacle{kind: noTool, words: fmt.Sprintf("tool %s is not there then or does not suit", c.Tools[k].ID)})
		}
	}
	return out
}

// toolObstacles: no tool of the class is wide enough and can be there.
func toolObstacles(c *Case, job *Job, x *option) []obstacle {
	var out []obstacle
	for n, need := range job.Tools {
		able, wide, barred := 0, 0, []string(nil)
		for k := range c.Tools {
			if !c.Tools[k].Suits(need) {
				continue
			}
			wide++
			if len(toolStarts(c, k, x, job.Duration)) > 0 {
				able++
			} else if c.Tools[k].Barred != "" {
				barred = append(barred, c.Tools[k].ID+": "+c.Tools[k].Barred)
			}
		}
		if able == 0 {
			words := fmt.Sprintf("a %s of %d mm or more is needed in window %s; %d are that wide and none can be there for %d min",
				c.Classes[need.Class], need.WidthMM, c.Windows[x.window].ID, wide, job.Duration)
			switch {
			case need.HeatC > 0:
				words = fmt.Sprintf("a %s of %d mm or more that reaches %d °C is needed in window %s; %d are that wide and that hot and none can be there for %d min",
					c.Classes[need.Class], need.WidthMM, need.HeatC, c.Windows[x.window].ID, wide, job.Duration)
			case need.WidthMM == 0:
				words = fmt.Sprintf("a %s is needed in window %s; none of %d can be there for %d min", c.Classes[need.Class], c.Windows[x.window].ID, wide, job.Duration)
			}
			if len(barred) > 0 {
				words += " (" + strings.Join(barred, ", ") + ")"
			}
			out = append(out, obstacle{kind: noTool, need: n, words: words})
		}
	}
	return out
}

// stockObstacles: what has come by the last start is less than what the job takes.
func stockObstacles(c *Case, job *Job, x *option) []obstacle {
	var out []obstacle
	for _, n := range job.Stock {
		item := &c.Stock[n.Item]
		level, next := item.lasting(x.lo), -1
		for _, a := range item.Arrivals {
			if a.Time <= x.hi {
				level += a.Quantity
			} else if next < 0 || a.Time < next {
				next = a.Time
			}
		}
		if level >= n.Quantity {
			continue
		}
		words := fmt.Sprintf("%s of stock %s are needed by %s in window %s, %s have come by then", c.amount(n.Item, n.Quantity), item.ID, c.at(x.site, x.hi), c.Windows[x.window].ID, c.amount(n.Item, level))
		if gone := item.OnHand - item.lasting(x.lo); gone > 0 {
			words += fmt.Sprintf(" and %s are out of date", c.amount(n.Item, gone))
		}
		if next >= 0 {
			words += fmt.Sprintf("; more comes at %s", c.at(x.site, next))
		}
		out = append(out, obstacle{kind: noStock, need: n.Item, words: words})
	}
	return out
}
