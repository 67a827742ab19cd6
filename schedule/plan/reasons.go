package plan

import (
	"fmt"
	"slices"
	"strings"
)

// leftOut says of every job left out why, and what would place it.
func (s *solver) leftOut() []LeftOut {
	var out []LeftOut
	x := &explainer{s: s, p: s.p, plan: newState(s.p)}
	x.plan.restore(s.best)
	for j := range s.best {
		if s.best[j].option >= 0 {
			continue
		}
		l := LeftOut{Job: j, Reasons: x.reasons(j)}
		if !s.set.Plain {
			l.Help, l.Changes = x.help(j)
		}
		out = append(out, l)
	}
	for i := range out {
		if len(out[i].Help) == 0 && !s.set.Plain {
			x.helpAwaited(&out[i], out)
		}
	}
	return out
}

// An explainer says why jobs are left out of the best plan.
type explainer struct {
	s    *solver
	p    *problem
	plan *state
	// asked counts what was planned again, so that help ends by count and not by time.
	asked int
	// chains counts the chains run for single jobs of a large case.
	chains int
	// held counts the hints that were planned again to see whether they hold.
	held int
}

// reasons are one or more sentences with numbers.
func (x *explainer) reasons(j int) []string {
	job := &x.p.c.Jobs[j]
	if len(job.Options) == 0 {
		return []string{fmt.Sprintf("no window is listed in which job %s of %d min may be done", job.ID, job.Duration)}
	}
	out := x.waits(j)
	out = append(out, x.barred(j)...)
	if len(x.p.jobs[j].options) > 0 {
		out = append(out, x.crowded(j)...)
	}
	return out
}

// waits says which jobs it waits for are left out.
func (x *explainer) waits(j int) []string {
	var out []string
	for _, l := range x.p.jobs[j].before {
		if !x.plan.placed(l.job) {
			out = append(out, fmt.Sprintf("it must start at least %d min after job %s, which is left out itself", l.min, x.p.c.Jobs[l.job].ID))
		}
	}
	return out
}

// named is how many windows are spoken of one by one.
const named = 4

// barred says which windows the job cannot use whatever else is done, and why; windows that are all too short become one sentence.
func (x *explainer) barred(j int) []string {
	c, job := x.p.c, &x.p.c.Jobs[j]
	var out []string
	longest, short, together := -1, 0, 0
	for _, o := range job.Options {
		list := obstacles(c, j, o.Window)
		if len(list) == 0 {
			continue
		}
		if len(list) == 1 && list[0].kind == tooShort {
			short++
			if longest < 0 || c.Windows[o.Window].Minutes() > c.Windows[longest].Minutes() {
				longest = o.Window
			}
			continue
		}
		if together++; together <= named {
			words := make([]string, len(list))
			for i := range list {
				words[i] = list[i].words
			}
			text := strings.Join(words, ", and ")
			if len(list) > 1 {
				text = fmt.Sprintf("%d causes together: %s", len(list), text)
			}
			out = append(out, text)
		}
	}
	if together > named {
		out = append(out, fmt.Sprintf("%d more windows are barred in the same way", together-named))
	}
	if longest >= 0 {
		out = append([]string{x.tooShort(j, longest, short == len(job.Options))}, out...)
	}
	return out
}

// tooShort says how long the longest window too short is, and what is needed.
func (x *explainer) tooShort(j, w int, all bool) string {
	c, job := x.p.c, &x.p.c.Jobs[j]
	need, with := job.Duration, ""
	if job.Isolation {
		g := &c.Groups[c.Conveyors[job.Conveyor].Group]
		need += g.Isolate + g.Restart
		with = " with isolation"
	}
	which := "longest stop"
	if !all {
		which = "longest of the stops that are too short"
	}
	return fmt.Sprintf("%s on %s is %d min (%s); this needs %d min%s", which, c.Conveyors[job.Conveyor].ID, c.Windows[w].Minutes(), c.Windows[w].ID, need, with)
}

// crowded says what the windows that would do by themselves are taken by, and what placing the job would cost.
func (x *explainer) crowded(j int) []string {
	t := &x.p.jobs[j]
	var out []string
	for k := range t.options {
		if len(out) == named {
			break
		}
		price := x.plan.try(j, k)
		if price < never {
			out = append(out, fmt.Sprintf("in window %s it would cost %s, leaving it out costs %s", x.windowID(t, k), x.p.c.price(price+t.out), x.p.c.price(t.out)))
			continue
		}
		if text := x.taken(t, k); text != "" {
			out = append(out, text)
		}
	}
	return append(out, x.dearer(j))
}

// windowID names an option's window.
func (x *explainer) windowID(t *task, k int) string { return x.p.c.Windows[t.options[k].window].ID }

// taken says who or what is taken in the option's window.
func (x *explainer) taken(t *task, k int) string {
	o := &t.options[k]
	lo, hi := x.plan.bounds(t, o)
	id := x.windowID(t, k)
	if lo > hi {
		return x.outOfTime(t, o, lo, id)
	}
	var busy []string
	for _, lists := range [][][]candidate{o.people, o.tools} {
		for n := range lists {
			busy = x.busyNeed(busy, t, o, lists[n], hi)
		}
	}
	for _, v := range x.plan.conveyors[t.conveyor] {
		if v.start < hi+t.duration && v.end > lo {
			busy = append(busy, fmt.Sprintf("conveyor %s has job %s from %s to %s", x.p.c.Conveyors[t.conveyor].ID, x.p.c.Jobs[v.job].ID, x.p.c.at(t.site, v.start), x.p.c.at(t.site, v.end)))
		}
	}
	if len(busy) == 0 {
		return ""
	}
	if len(busy) > named {
		busy = append(busy[:named], fmt.Sprintf("%d more are taken too", len(busy)-named))
	}
	return fmt.Sprintf("in window %s it needs %d min between %s and %s: %s", id, t.duration, x.p.c.at(t.site, lo), x.p.c.at(t.site, hi+t.duration), strings.Join(busy, ", "))
}

// outOfTime says that stock or a job waited for leaves no start in the window.
func (x *explainer) outOfTime(t *task, o *option, lo int, id string) string {
	for _, n := range o.stock {
		if x.plan.stockFrom(n) > o.hi {
			s := &x.p.items[n.Item]
			good := ""
			if s.from > 0 {
				good = fmt.Sprintf(", of what is good after %s,", x.p.c.at(t.site, s.from))
			}
			return fmt.Sprintf("in window %s it must start by %s; %s of stock %s%s are not free by then beside what other jobs take", id, x.p.c.at(t.site, o.hi), x.p.c.amount(s.item, n.Quantity), x.p.c.Stock[s.item].ID, good)
		}
	}
	for _, l := range t.before {
		if x.plan.placed(l.job) {
			return fmt.Sprintf("in window %s it must start from %s to %s; job %s ends at %s and the wait is %d min or more", id, x.p.c.at(t.site, o.lo), x.p.c.at(t.site, o.hi), x.p.c.Jobs[l.job].ID, x.p.c.at(t.site, x.plan.end(l.job)), l.min)
		}
	}
	return ""
}

// busyNeed lists who of a need is taken, when nobody of it is free for long enough.
func (x *explainer) busyNeed(busy []string, t *task, o *option, list []candidate, hi int) []string {
	var mine []string
	for i := range list {
		k := &list[i]
		if x.plan.next(k, o.site, k.starts[0].From, t.duration) <= hi {
			return busy
		}
		for _, v := range x.plan.lines[k.resource] {
			if v.start < hi+t.duration && v.end > o.lo {
				mine = append(mine, fmt.Sprintf("%s is at job %s from %s to %s", x.p.resourceName(k.resource), x.p.c.Jobs[v.job].ID, x.p.c.at(t.site, v.start), x.p.c.at(t.site, v.end)))
				break
			}
		}
	}
	for _, m := range mine {
		if !slices.Contains(busy, m) {
			busy = append(busy, m)
		}
	}
	return busy
}

// besideLocks mentions the locks when there are any.
func (x *explainer) besideLocks() string {
	for j := range x.p.jobs {
		if x.p.jobs[j].locked != nil {
			return " beside the locked jobs"
		}
	}
	return ""
}

// dearer compares the plan with the cheapest one that places the job.
func (x *explainer) dearer(j int) string {
	id, out, all := x.p.c.Jobs[j].ID, x.p.c.price(x.p.jobs[j].out), x.p.c.price(x.s.cost)
	cost, a := x.cheapestWith(j)
	switch {
	case a == possible && x.s.proven:
		return fmt.Sprintf("leaving job %s out costs %s and the whole plan %s; the cheapest plan with it costs %s", id, out, all, x.p.c.price(cost))
	case a == possible:
		return fmt.Sprintf("leaving job %s out costs %s and the whole plan %s; the cheapest plan found with it costs %s", id, out, all, x.p.c.price(cost))
	case a == none:
		return fmt.Sprintf("no plan at all, whatever else is left out, can hold job %s of %d min%s", id, x.p.jobs[j].duration, x.besideLocks())
	default:
		return fmt.Sprintf("leaving job %s out costs %s; no cheaper plan with it was found in %d steps", id, out, x.s.steps)
	}
}
