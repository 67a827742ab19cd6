package planfile

import (
	"fmt"
	"sort"

	"carryside/schedule/plan"
)

// readGroups reads the isolation groups.
func (r *reader) readGroups(doc object) (err error) {
	r.groups, err = records(doc, "groups", "group", true, func(id string, o object) (err error) {
		g := plan.Group{ID: id}
		if g.Site, err = place(o, "site", "site", r.sites); err != nil {
			return err
		}
		for _, f := range []struct {
			name string
			into *int
		}{{"isolate", &g.Isolate}, {"restart", &g.Restart}, {"setup", &g.Setup}} {
			if *f.into, err = o.whole(f.name, 0); err != nil {
				return err
			}
		}
		r.c.Groups = append(r.c.Groups, g)
		return nil
	})
	return err
}

// readConveyors reads the conveyors.
func (r *reader) readConveyors(doc object) (err error) {
	r.conveyors, err = records(doc, "conveyors", "conveyor", true, func(id string, o object) error {
		g, err := place(o, "group", "group", r.groups)
		r.c.Conveyors = append(r.c.Conveyors, plan.Conveyor{ID: id, Group: g})
		return err
	})
	return err
}

// readWindows reads the stop windows.
func (r *reader) readWindows(doc object) (err error) {
	r.windows, err = records(doc, "windows", "window", true, func(id string, o object) (err error) {
		w := plan.Window{ID: id}
		if w.Site, err = place(o, "site", "site", r.sites); err != nil {
			return err
		}
		if w.Start, err = o.whole("start", 0); err != nil {
			return err
		}
		if w.End, err = o.whole("end", 0); err != nil {
			return err
		}
		if w.Start >= w.End || w.End > r.c.Horizon {
			return fmt.Errorf("%s runs from %d to %d; it must end after it starts and by the horizon %d", o.where, w.Start, w.End, r.c.Horizon)
		}
		if w.Scope, err = r.scope(o, w.Site); err != nil {
			return err
		}
		r.c.Windows = append(r.c.Windows, w)
		return nil
	})
	return err
}

// scope reads the conveyors that stand still in a window at the site.
func (r *reader) scope(o object, site int) ([]int, error) {
	entries, err := o.list("scope")
	if err != nil {
		return nil, err
	}
	seen, out := make(map[int]bool, len(entries)), make([]int, 0, len(entries))
	for _, e := range entries {
		k, err := named(e, "conveyor", r.conveyors)
		if err != nil {
			return nil, err
		}
		if seen[k] {
			return nil, fmt.Errorf("%s: conveyor %s is twice in its scope", o.where, r.c.Conveyors[k].ID)
		}
		if at := r.c.Groups[r.c.Conveyors[k].Group].Site; at != site {
			return nil, fmt.Errorf("%s is at site %s; conveyor %s in its scope is at %s", o.where, r.c.Sites[site], r.c.Conveyors[k].ID, r.c.Sites[at])
		}
		seen[k] = true
		out = append(out, k)
	}
	return out, nil
}

// readTechnicians reads the persons.
func (r *reader) readTechnicians(doc object) (err error) {
	r.technicians, err = records(doc, "technicians", "technician", true, func(id string, o object) (err error) {
		t := plan.Technician{ID: id}
		if t.Home, err = place(o, "home", "site", r.sites); err != nil {
			return err
		}
		if t.Qualifications, err = r.held(o); err != nil {
			return err
		}
		if t.Available, err = spans(o, "avail"); err != nil {
			return err
		}
		if t.Callout, err = o.wholeOr("callout", 0, 0, false); err != nil {
			return err
		}
		if t.CalloutWindows, err = r.callouts(o); err != nil {
			return err
		}
		r.c.Technicians = append(r.c.Technicians, t)
		return nil
	})
	return err
}

// held reads what a person may work as.
func (r *reader) held(o object) ([]plan.Qualification, error) {
	entries, err := o.list("quals")
	if err != nil {
		return nil, err
	}
	out := make([]plan.Qualification, 0, len(entries))
	for _, e := range entries {
		x, err := e.object()
		if err != nil {
			return nil, err
		}
		name, err := x.text("q")
		if err != nil {
			return nil, err
		}
		q := plan.Qualification{Name: numbered(name, r.qualifications, &r.c.Qualifications)}
		if q.From, err = x.whole("from", 0); err != nil {
			return nil, err
		}
		if q.To, err = x.whole("to", 0); err != nil {
			return nil, err
		}
		if q.From >= q.To {
			return nil, fmt.Errorf("%s: qualification %s runs from %d to %d; it must end after it begins", o.where, name, q.From, q.To)
		}
		out = append(out, q)
	}
	return out, nil
}

// callouts reads the call-out costs of single windows.
func (r *reader) callouts(o object) (map[int]int, error) {
	v, there := o.optional("callout_windows", false)
	if !there {
		return nil, nil
	}
	x, err := v.object()
	if err != nil {
		return nil, err
	}
	out := make(map[int]int, len(x.fields))
	for _, name := range sortedNames(x) {
		w, there := r.windows[name]
		if !there {
			return nil, fmt.Errorf("%s: window %s does not exist", v.where, name)
		}
		if out[w], err = x.whole(name, 0); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// sortedNames lists an object's members in an order of its own, so that the first error is always the same one.
func sortedNames(o object) []string {
	names := make([]string, 0, len(o.fields))
	for n := range o.fields {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}

// readTools reads presses, cutters and the like.
func (r *reader) readTools(doc object) (err error) {
	r.tools, err = records(doc, "tools", "tool", true, func(id string, o object) (err error) {
		t := plan.Tool{ID: id}
		class, err := o.text("class")
		if err != nil {
			return err
		}
		t.Class = numbered(class, r.classes, &r.c.Classes)
		if t.WidthMM, err = o.whole("width", 0); err != nil {
			return err
		}
		if t.Site, err = place(o, "site", "site", r.sites); err != nil {
			return err
		}
		if t.Mobile, err = o.flagOr("mobile", true); err != nil {
			return err
		}
		if t.Available, err = spans(o, "avail"); err != nil {
			return err
		}
		r.c.Tools = append(r.c.Tools, t)
		return nil
	})
	return err
}

// readStock reads the items and their arrivals.
func (r *reader) readStock(doc object) (err error) {
	r.stock, err = records(doc, "stock", "stock", false, func(id string, o object) (err error) {
		x := plan.Item{ID: id}
		if x.OnHand, err = o.whole("on_hand", 0); err != nil {
			return err
		}
		entries, err := o.listOr("arrivals")
		if err != nil {
			return err
		}
		for _, e := range entries {
			pair, err := e.tuple(2)
			if err != nil {
				return err
			}
			a := plan.Arrival{}
			if a.Time, err = pair[0].whole(0); err != nil {
				return err
			}
			if a.Quantity, err = pair[1].whole(0); err != nil {
				return err
			}
			x.Arrivals = append(x.Arrivals, a)
		}
		sort.SliceStable(x.Arrivals, func(i, k int) bool { return x.Arrivals[i].Time < x.Arrivals[k].Time })
		r.c.Stock = append(r.c.Stock, x)
		return nil
	})
	return err
}
