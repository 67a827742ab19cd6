package web

import (
	"math"
	"slices"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/kit"
	"carryside/schedule/people"
)

// kitToKeep reads the piece of kit an address names for somebody who may change it.
func (s *Site) kitToKeep(r *Request) (assets.Kit, *KitRoom, error) {
	k, kits, err := s.kitAsked(r)
	if err == nil && !r.mayKeep(k) {
		err = assets.ErrForbidden
	}
	return k, kits, err
}

// newKit adds a piece of kit.
func (s *Site) newKit(r *Request) error {
	kits, err := s.StoreBook.KitRoom(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	return s.kitForm(r, assets.Kit{CustomerID: r.Plant.Plant.CustomerID, HomePlantID: r.PlantID(), Mobile: true}, kits)
}

// editKit changes one.
func (s *Site) editKit(r *Request) error {
	k, kits, err := s.kitToKeep(r)
	if err != nil {
		return err
	}
	return s.kitForm(r, k, kits)
}

// Whose kit is, as a choice.
const (
	ofPlant   = "plant"  // the plant's own, at home here
	sharedPut = "shared" // the service company's, at home here
	ofDepot   = "depot"  // the service company's, at home in the depot
)

func (s *Site) kitForm(r *Request, k assets.Kit, kits *KitRoom) error {
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(k.ID == 0, "Add it", "Keep the change"), Leave: r.At("stores")}
		p.Sheet, p.Say = "Kit", pick(k.ID == 0, "Add a piece of kit", "Change "+k.Name)
		f.version(k.Version)
		with := []Option{{Value: "0", Label: "nothing"}}
		for _, o := range kits.Kit {
			if o.ID != k.ID {
				with = append(with, Option{Value: plainInt(o.ID), Label: o.Name})
			}
		}
		fields := []*Field{f.Text("name", "Name", k.Name).Must().Hinted("As painted on it: Press 1"), f.Select("class", "What it is", string(k.Class), wordOptions(assets.KitClasses)),
			f.Quantity("working_width_m", "Working width", unit.Width, k.WorkingWidthM, nil).Hinted("Empty: no limit"), f.Quantity("max_temperature_c", "Highest temperature", unit.Heat, k.MaxTemperatureC, nil),
			f.Text("serial", "Serial number", k.Serial), f.Select("goes_with", "Fitted to", plainInt(k.GoesWithID), with).Hinted("A gauge to its press"),
			f.Tick("mobile", "Goes along with crews", k.Mobile), f.Text("hired_from", "Lent by", k.HiredFrom).Hinted("Empty: one's own"),
			f.Date("in_use_from_day", "In use from", string(k.InUseFromDay)), f.Date("in_use_until_day", "Last day of use", string(k.InUseUntilDay)),
			f.Text("remark", "Remark", k.Remark).OverBoth()}
		if r.forAll(people.KeepStores) && k.ID == 0 {
			fields = append(fields, f.Select("whose", "Whose, and at home where", ofPlant, []Option{{Value: ofPlant, Label: "this plant's own"},
				{Value: sharedPut, Label: "the service company's, at home here"}, {Value: ofDepot, Label: "the service company's, at home in the depot"}}))
		}
		p.section("", fields...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := k
		next.RowID = e.rowID()
		e.kit(&next)
		if e.f.Get("whose") != nil {
			switch oneOf(e, "whose", "choose whose it is", ofPlant, sharedPut, ofDepot) {
			case sharedPut:
				next.CustomerID = 0
			case ofDepot:
				next.CustomerID, next.HomePlantID = 0, 0
			}
		}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StoreBook.SaveKit(r.Context(), r.act(pick(k.ID == 0, "add kit", "change kit"), ""), &next)
		return r.At("stores/kit", next.ID), next.Name + " is kept.", err
	})
}

func (e *entry) kit(k *assets.Kit) {
	k.Name, k.Serial, k.HiredFrom, k.Remark = e.must("name", "the name as painted on it"), e.text("serial"), e.text("hired_from"), e.text("remark")
	k.Class = oneOf(e, "class", "choose what it is from the list", assets.KitClasses...)
	k.WorkingWidthM, k.MaxTemperatureC = e.notBelowNought("working_width_m", "a width", unit.Width), e.quantity("max_temperature_c", unit.Heat)
	e.offered("goes_with", "choose from the list")
	k.GoesWithID, k.Mobile = e.id("goes_with"), e.f.Ticked("mobile")
	k.InUseFromDay, k.InUseUntilDay = e.day("in_use_from_day"), e.day("in_use_until_day")
}

// kitAway says when a piece of kit is not to be had.
func (s *Site) kitAway(r *Request) error {
	k, kits, err := s.kitToKeep(r)
	if err != nil {
		return err
	}
	a := assets.KitAway{KitID: k.ID, FromAt: assets.InstantOf(r.Now)}
	if id := numberOf(r.Query("away")); id != 0 {
		i := slices.IndexFunc(kits.Aways[k.ID], func(x assets.KitAway) bool { return x.ID == id })
		if i < 0 {
			return assets.ErrNotFound
		}
		a = kits.Aways[k.ID][i]
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep it", Leave: r.At("stores/kit", k.ID)}
		p.Sheet, p.Say = "Kit", "When is "+k.Name+" away?"
		p.Says = []string{"It is in one place at a time: no work is placed with it while it is away."}
		f.version(a.Version)
		p.section("", f.At("from", "From", a.FromAt).Must(), f.At("to", "Back", a.ToAt).Hinted("Empty: until further notice"), f.Select("why", "Why", string(a.Why), wordOptions(assets.AwayWhys)),
			f.Text("where", "Where", a.Where), f.Tick("cancelled", "It does not leave after all", a.Cancelled))
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := a
		next.RowID = e.rowID()
		e.must("from", "from when it is away")
		next.FromAt, next.ToAt, next.Where, next.Cancelled = e.moment("from"), e.moment("to"), e.text("where"), e.f.Ticked("cancelled")
		next.Why = oneOf(e, "why", "choose why it is away from the list", assets.AwayWhys...)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StoreBook.SaveAway(r.Context(), r.act("say when kit is away", ""), k, &next)
		return r.At("stores/kit", k.ID), "Kept.", err
	})
}

// kitCalibration enters a calibration.
func (s *Site) kitCalibration(r *Request) error {
	k, _, err := s.kitToKeep(r)
	if err != nil {
		return err
	}
	today := r.F.Today()
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep it", Leave: r.At("stores/kit", k.ID)}
		p.Sheet, p.Say = "Kit", "Enter a calibration of "+k.Name
		p.Says = []string{"Twelve months are usual for thermometers and pressure gauges, a rule of thumb (class D) where the maker or the plant says nothing else."}
		p.section("", f.Date("on_day", "Calibrated on", string(today)).Must(), f.Date("due_day", "Next due", string(today.AddDays(365))).Hinted("Empty: none is due"),
			f.Text("certificate", "Number of the certificate", "").Hinted("As seen on the paper; empty: not seen"), f.Text("calibrated_for", "Compared at", "").Hinted("e.g. 150 and 180 °C"),
			f.Select("class", "Class of the interval", "D", stockClasses), f.Text("source", "Source", "common practice, twelve months"))
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		c := assets.Calibration{KitID: k.ID, OnDay: e.day("on_day"), DueDay: e.day("due_day"), Certificate: e.text("certificate"), CalibratedFor: e.text("calibrated_for"), Source: e.text("source")}
		e.must("on_day", "the day of the calibration")
		c.Class = oneOf(e, "class", "choose the class of evidence", assets.Classes...)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StoreBook.SaveCalibration(r.Context(), r.act("enter a calibration", ""), k, &c)
		return r.At("stores/kit", k.ID), "Calibration of " + r.F.PlainDay(c.OnDay) + " kept.", err
	})
}

// kitCounter adds a counter or changes its limit.
func (s *Site) kitCounter(r *Request) error {
	k, kits, err := s.kitToKeep(r)
	if err != nil {
		return err
	}
	c := assets.KitCounter{KitID: k.ID}
	if id := numberOf(r.Query("counter")); id != 0 {
		i := slices.IndexFunc(kits.Counters[k.ID], func(x kit.Counter) bool { return x.ID == id && x.EndedAt == 0 })
		if i < 0 {
			return assets.ErrNotFound
		}
		c = kits.Counters[k.ID][i].KitCounter
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep it", Leave: r.At("stores/kit", k.ID)}
		p.Sheet, p.Say = "Kit", pick(c.ID == 0, "Count something on "+k.Name, "Change the limit of "+string(c.Counts)+" on "+k.Name)
		f.version(c.Version)
		var fields []*Field
		if c.ID == 0 {
			fields = append(fields, f.Select("counts", "What is counted", string(c.Counts), wordOptions(assets.Wears)), f.Text("part", "Part", c.Part).Hinted("pad 6, blades 9; empty: the kit itself"))
		}
		fields = append(fields, f.Number("limit", "Limit", plainNumber(c.Limit), "").Hinted("Empty: none known"), f.Number("per_job", "Counts a job", plainNumber(c.PerJob), ""),
			f.Select("class", "Class of the limit", string(c.Class), stockClasses), f.Text("source", "Source", c.Source), f.Tick("in_use", "This side of the pad is up", c.InUse))
		p.section("", fields...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := c
		next.RowID = e.rowID()
		if c.ID == 0 {
			next.Counts, next.Part = oneOf(e, "counts", "choose what is counted from the list", assets.Wears...), e.text("part")
		}
		next.Limit, next.PerJob, next.Class, next.Source, next.InUse = e.number("limit"), e.number("per_job"), assets.Class(e.text("class")), e.text("source"), e.f.Ticked("in_use")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StoreBook.SaveCounter(r.Context(), r.act(pick(c.ID == 0, "add a counter", "change a limit"), ""), k, &next)
		return r.At("stores/kit", k.ID), "Kept.", err
	})
}

// countCounter moves a counter by hand, with a reason, or takes its part out.
func (s *Site) countCounter(r *Request) error {
	k, kits, err := s.kitToKeep(r)
	if err != nil {
		return err
	}
	id, err := r.ID("counter")
	if err != nil {
		return err
	}
	i := slices.IndexFunc(kits.Counters[k.ID], func(x kit.Counter) bool { return x.ID == id && x.EndedAt == 0 })
	if i < 0 {
		return assets.ErrNotFound
	}
	c := kits.Counters[k.ID][i]
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep it", Leave: r.At("stores/kit", k.ID), FactsOf: "As it stands"}
		p.Sheet, p.Say = "Kit", k.Name+": "+counterName(c)
		p.Says = []string{"Signed jobs move this counter. By hand it is moved only with a reason, which stands in the records with your name."}
		p.Facts = []fact{{"Count", With(Short(c.Count, 1), c.Counts.Unit())}}
		f.version(c.Version)
		f.Hidden("seen", plainNumber(c.Count))
		p.section("", f.Number("amount", "Add", "", c.Counts.Unit()).Hinted("Below 0 takes back"), f.Tick("out", "The part is taken out", false), f.Text("reason", "Reason", "").Must().OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		reason, quantity := e.must("reason", "the reason: it stands in the records"), e.number("amount")
		out := e.f.Ticked("out")
		if quantity == 0 && !out {
			e.bad.Add("amount", "give a number, or tick that the part is taken out")
		}
		if quantity != math.Trunc(quantity) {
			e.bad.Add("amount", "give a whole number of "+c.Counts.Unit())
		}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if err := e.stillSeen(plainNumber(c.Count), "the counter stands at "+With(Short(c.Count, 1), c.Counts.Unit())+" now, not where it stood when this form was opened"); err != nil {
			return "", "", err
		}
		if out && e.rowID() < 0 {
			return "", "", assets.ErrConflict
		}
		if quantity != 0 {
			line := assets.KitCount{CounterID: c.ID, Quantity: quantity, Reason: reason}
			if err := asAmount(s.StoreBook.CountKit(r.Context(), r.act("move a counter by hand", reason), k, &line)); err != nil {
				return "", "", err
			}
		}
		if !out {
			return r.At("stores/kit", k.ID), "Counted.", nil
		}
		if rowID := e.rowID(); rowID != 0 {
			c.RowID = rowID
		}
		err := s.StoreBook.ChangeParts(r.Context(), r.Scope, r.act("take a part out", reason), k, PartsChange{End: []kit.Counter{c}, Why: reason})
		return r.At("stores/kit", k.ID), "The part is taken out; add a counter for the new one.", err
	})
}
