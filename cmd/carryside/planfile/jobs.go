package planfile

import (
	"fmt"
	"sort"

	"carryside/schedule/plan"
)

// readJobs reads the jobs.
func (r *reader) readJobs(doc object) (err error) {
	r.jobs, err = records(doc, "jobs", "job", true, func(id string, o object) error {
		j := plan.Job{ID: id}
		for _, part := range []func(*plan.Job, object) error{r.nature, r.crew, r.kit, r.material, r.options, r.lock, r.previous} {
			if err := part(&j, o); err != nil {
				return err
			}
		}
		r.c.Jobs = append(r.c.Jobs, j)
		return nil
	})
	return err
}

// nature reads what the job is and when it may be.
func (r *reader) nature(j *plan.Job, o object) (err error) {
	if j.Kind, err = o.textOr("kind"); err != nil {
		return err
	}
	if j.Conveyor, err = place(o, "conveyor", "conveyor", r.conveyors); err != nil {
		return err
	}
	if j.Duration, err = o.whole("duration", 1); err != nil {
		return err
	}
	if j.Release, err = o.wholeOr("release", 0, 0, false); err != nil {
		return err
	}
	if j.Deadline, err = o.wholeOr("deadline", 0, -1, true); err != nil {
		return err
	}
	if j.Isolation, err = o.flagOr("isolation", true); err != nil {
		return err
	}
	j.Unplaced, err = o.whole("unplaced", 0)
	return err
}

// counted reads a list of pairs of a name and a number.
func counted(o object, name string, least int, take func(name value, text string, n int) error) error {
	entries, err := o.listOr(name)
	if err != nil {
		return err
	}
	for _, e := range entries {
		pair, err := e.tuple(2)
		if err != nil {
			return err
		}
		text, err := pair[0].text(true)
		if err != nil {
			return err
		}
		n, err := pair[1].whole(least)
		if err != nil {
			return fmt.Errorf("%w (%s)", err, text)
		}
		if err := take(pair[0], text, n); err != nil {
			return err
		}
	}
	return nil
}

// maxHeads bounds a crew; more is a slip of the pen, and every head is a person to be found.
const maxHeads = 10_000

// crew reads the persons needed; entries of one qualification add up.
func (r *reader) crew(j *plan.Job, o object) error {
	heads := 0
	return counted(o, "crew", 1, func(_ value, name string, n int) error {
		if heads += n; heads > maxHeads {
			return fmt.Errorf("%s: its crew of %d %s is above %d persons", o.where, n, name, maxHeads)
		}
		q := numbered(name, r.qualifications, &r.c.Qualifications)
		for i := range j.Crew {
			if j.Crew[i].Qualification == q {
				j.Crew[i].Number += n
				return nil
			}
		}
		j.Crew = append(j.Crew, plan.CrewNeed{Qualification: q, Number: n})
		return nil
	})
}

// kit reads the tools needed.
func (r *reader) kit(j *plan.Job, o object) error {
	return counted(o, "tools", 0, func(_ value, class string, width int) error {
		j.Tools = append(j.Tools, plan.ToolNeed{Class: numbered(class, r.classes, &r.c.Classes), WidthMM: width})
		return nil
	})
}

// material reads the stock needed; entries of one item add up.
func (r *reader) material(j *plan.Job, o object) error {
	return counted(o, "stock", 1, func(v value, _ string, n int) error {
		item, err := named(v, "stock", r.stock)
		if err != nil {
			return err
		}
		for i := range j.Stock {
			if j.Stock[i].Item == item {
				j.Stock[i].Quantity += n
				return nil
			}
		}
		j.Stock = append(j.Stock, plan.StockNeed{Item: item, Quantity: n})
		return nil
	})
}

// options reads the windows the job may be done in.
func (r *reader) options(j *plan.Job, o object) error {
	v, err := o.field("costs")
	if err != nil {
		return err
	}
	costs, err := v.object()
	if err != nil {
		return err
	}
	for _, name := range sortedNames(costs) {
		w, there := r.windows[name]
		if !there {
			return fmt.Errorf("%s: window %s in its costs does not exist", o.where, name)
		}
		cost, err := costs.whole(name, 0)
		if err != nil {
			return err
		}
		j.Options = append(j.Options, plan.Option{Window: w, Cost: cost})
	}
	sort.Slice(j.Options, func(a, b int) bool { return j.Options[a].Window < j.Options[b].Window })
	return nil
}

// lock reads what is held.
func (r *reader) lock(j *plan.Job, o object) error {
	v, there := o.optional("locked", true)
	if !there {
		return nil
	}
	x, err := v.object()
	if err != nil {
		return err
	}
	l := &plan.Lock{}
	if l.Window, err = place(x, "window", "window", r.windows); err != nil {
		return err
	}
	if _, listed := j.OptionIn(l.Window); !listed {
		return fmt.Errorf("%s is locked to window %s, which its costs do not list", o.where, r.c.Windows[l.Window].ID)
	}
	if l.Start, err = x.wholeOr("start", 0, -1, true); err != nil {
		return err
	}
	if l.Technicians, err = allNamed(x, "techs", "technician", r.technicians); err != nil {
		return err
	}
	if l.Tools, err = allNamed(x, "tools", "tool", r.tools); err != nil {
		return err
	}
	j.Locked = l
	return nil
}

// allNamed reads a list of names that must exist; a name given twice counts once.
func allNamed(o object, name, noun string, places map[string]int) ([]int, error) {
	entries, err := o.listOr(name)
	if err != nil {
		return nil, err
	}
	seen, out := map[int]bool{}, []int(nil)
	for _, e := range entries {
		i, err := named(e, noun, places)
		if err != nil {
			return nil, err
		}
		if !seen[i] {
			seen[i] = true
			out = append(out, i)
		}
	}
	return out, nil
}

// previous reads the place in the published plan; windows and persons of it may be gone.
func (r *reader) previous(j *plan.Job, o object) error {
	v, there := o.optional("previous", true)
	if !there {
		return nil
	}
	x, err := v.object()
	if err != nil {
		return err
	}
	p := &plan.Previous{}
	window, err := x.text("window")
	if err != nil {
		return err
	}
	p.Window = orGone(r.windows, window)
	people, err := x.listOr("techs")
	if err != nil {
		return err
	}
	for _, e := range people {
		id, err := e.text(true)
		if err != nil {
			return err
		}
		p.Technicians = append(p.Technicians, orGone(r.technicians, id))
	}
	if p.ChangeWindow, err = x.wholeOr("change_window", 0, 0, false); err != nil {
		return err
	}
	if p.ChangeTech, err = x.wholeOr("change_tech", 0, 0, false); err != nil {
		return err
	}
	j.Previous = p
	return nil
}

// orGone is the place of an id that may no longer exist.
func orGone(places map[string]int, id string) int {
	if i, there := places[id]; there {
		return i
	}
	return plan.Gone
}

// readExclusions reads the pairs that may not run at the same time.
func (r *reader) readExclusions(doc object) error {
	entries, err := doc.listOr("exclusions")
	if err != nil {
		return err
	}
	for _, e := range entries {
		pair, err := e.tuple(2)
		if err != nil {
			return err
		}
		var x [2]int
		for i, v := range pair {
			if x[i], err = named(v, "job", r.jobs); err != nil {
				return err
			}
		}
		if x[0] == x[1] {
			return fmt.Errorf("%s names job %s twice; an exclusion is of two different jobs", e.where, r.c.Jobs[x[0]].ID)
		}
		r.c.Exclusions = append(r.c.Exclusions, x)
	}
	return nil
}

// readPrecedences reads which job waits for which.
func (r *reader) readPrecedences(doc object) error {
	entries, err := doc.listOr("precedences")
	if err != nil {
		return err
	}
	for _, e := range entries {
		o, err := e.object()
		if err != nil {
			return err
		}
		p := plan.Precedence{}
		if p.Before, err = place(o, "before", "job", r.jobs); err != nil {
			return err
		}
		if p.After, err = place(o, "after", "job", r.jobs); err != nil {
			return err
		}
		o.where = fmt.Sprintf("precedence %s before %s", r.c.Jobs[p.Before].ID, r.c.Jobs[p.After].ID)
		if p.Before == p.After {
			return fmt.Errorf("%s: a job cannot wait for itself", o.where)
		}
		if p.MinLag, err = o.wholeOr("min_lag", 0, 0, false); err != nil {
			return err
		}
		if p.MaxLag, err = o.wholeOr("max_lag", 0, -1, true); err != nil {
			return err
		}
		if p.MaxLag >= 0 && p.MaxLag < p.MinLag {
			return fmt.Errorf("%s: max_lag %d is less than min_lag %d", o.where, p.MaxLag, p.MinLag)
		}
		r.c.Precedences = append(r.c.Precedences, p)
	}
	return nil
}
