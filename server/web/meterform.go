package web

import (
	"strconv"

	"carryside/assets"
	"carryside/assets/unit"
)

// These forms answer: the meter was replaced or began again from zero; how do running hours count on? And:
// a reading was copied wrongly; what is right?

// replaceMeter declares that a meter was replaced or its counter rolled over.
func (s *Site) replaceMeter(r *Request) error {
	c, err := s.conveyorAsked(r)
	if err != nil {
		return err
	}
	last, err := s.Meters.LastReadings(r.Context(), r.Scope, c.ID, 3)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Declare it", Leave: r.At("conveyors", c.ID, "readings"), FactsOf: "Read last"}
		p.Sheet, p.Say = "Meter of "+c.Tag, "Say what happened to the hour meter of "+c.Tag
		p.Says = []string{"Readings stay as the meter showed them; running hours count on from here. Readings held because of it can then be decided."}
		for _, rd := range last {
			p.Facts = append(p.Facts, fact{r.F.Stamp(rd.At), With(Num(rd.ShownH, 1), "h")})
		}
		p.stretchFields(assets.Meter{Why: assets.MeterReplaced})
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		m := e.stretch(c)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Meters.DeclareStretch(r.Context(), r.Scope, r.act("declare a change of meter at "+c.Tag, m.Remark), &m)
		return r.At("conveyors", c.ID, "readings"), "Running hours of " + c.Tag + " count on over the change of meter.", renamed(err, stretchNames)
	})
}

// stretchNames are the form's names of fields that the storage calls otherwise.
var stretchNames = map[string]string{"from_at": "from"}

// renamed moves messages of assets.Invalid to the names the form has.
func renamed(err error, names map[string]string) error {
	var bad assets.Invalid
	if !asInvalid(err, &bad) {
		return err
	}
	out := assets.Invalid{}
	for field, message := range bad {
		if name, ok := names[field]; ok {
			field = name
		}
		out.Add(field, message)
	}
	return out
}

func (p *formPage) stretchFields(m assets.Meter) {
	f := p.Form
	p.section("", f.Radio("meter_why", "The meter", string(m.Why), []Option{{Value: string(assets.MeterReplaced), Label: "was replaced"}, {Value: string(assets.MeterRolledOver), Label: "began again from zero"}}).OverBoth())
	p.meterFields(m, false)
	f.Get("from").Required = true
	p.section("", f.Area("remark", "Remark", m.Remark).OverBoth())
}

func (e *entry) stretch(c assets.Conveyor) assets.Meter {
	e.must("from", "the time at which this was")
	m := e.meter()
	m.PlantID, m.ConveyorID, m.Remark = c.PlantID, c.ID, e.text("remark")
	m.Why = oneOf(e, "meter_why", "say whether the meter was replaced or began again from zero", assets.MeterReplaced, assets.MeterRolledOver)
	if m.FromAt > assets.InstantOf(e.r.Now) {
		e.bad.Add("from", "this lies in the future; give the time at which it was done")
	}
	e.rollover(m.Why == assets.MeterRolledOver, m.RollsOverAtH)
	return m
}

// correctMeter corrects a declared change of meter or takes it back.
func (s *Site) correctMeter(r *Request) error {
	c, err := s.conveyorAsked(r)
	if err != nil {
		return err
	}
	id, err := r.ID("meter")
	if err != nil {
		return err
	}
	all, err := s.Meters.MetersOf(r.Context(), r.Scope, c.ID)
	if err != nil {
		return err
	}
	m, ok := findMeter(all, id)
	if !ok || m.Why == assets.MeterFirst {
		return assets.ErrNotFound
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the correction", Leave: r.At("conveyors", c.ID, "readings")}
		p.Sheet, p.Say = "Meter of "+c.Tag, "Correct the change of meter at "+c.Tag+" of "+r.F.Date(m.FromAt)
		p.Says = []string{"Running hours after it follow. What was held before stays in the records."}
		f.version(m.Version)
		p.stretchFields(m)
		p.section("", f.Tick("never", "It never was: take the change of meter back", false))
		p.reason(true, "What was wrong, and how it is known now")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := e.stretch(c)
		next.Version, next.ResolutionH = m.Version, m.ResolutionH
		next.RowID = e.rowID()
		why := e.reason()
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if e.f.Ticked("never") {
			err := s.Meters.CancelStretch(r.Context(), r.Scope, r.act("take back a change of meter at "+c.Tag, why), r.PlantID(), m.ID, e.rowID())
			return r.At("conveyors", c.ID, "readings"), "The change of meter at " + c.Tag + " is taken back.", renamed(err, stretchNames)
		}
		err := s.Meters.CorrectStretch(r.Context(), r.Scope, r.act("correct a change of meter at "+c.Tag, why), &next)
		return r.At("conveyors", c.ID, "readings"), "The change of meter at " + c.Tag + " is corrected.", renamed(err, stretchNames)
	})
}

func findMeter(all []assets.Meter, id int64) (assets.Meter, bool) {
	for _, m := range all {
		if m.ID == id {
			return m, true
		}
	}
	return assets.Meter{}, false
}

// correctReading gives an accepted reading another value or leaves it out.
func (s *Site) correctReading(r *Request) error {
	c, err := s.conveyorAsked(r)
	if err != nil {
		return err
	}
	rd, err := s.readingAsked(r, c)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the correction", Leave: r.At("conveyors", c.ID, "readings")}
		p.Sheet, p.Say = "Reading of "+c.Tag, "Correct the reading of "+c.Tag+" of "+r.F.Stamp(rd.At)
		p.Says = []string{"This is a correction of a past fact. What was read first stays in the records, and the ages of the splices follow the corrected value."}
		f.Hidden("was", plainNumber(rd.ShownH))
		p.section("", f.Optional("shown_h", "The meter showed", unit.RunningHours, &rd.ShownH, nil), f.Tick("left_out", "Leave this reading out", false))
		p.reason(true, "What was wrong, and how it is known now")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		var shown *float64
		if !e.f.Ticked("left_out") {
			e.must("shown_h", "the hours as the meter showed them")
			h := e.notBelowNought("shown_h", "what the meter shows", unit.RunningHours)
			shown = &h
		}
		why := e.reason()
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if e.text("was") != plainNumber(rd.ShownH) {
			return "", "", assets.ErrConflict // somebody corrected it since this form was opened
		}
		err := s.Meters.CorrectReading(r.Context(), r.Scope, r.act("correct a reading of "+c.Tag, why), r.PlantID(), c.ID, rd.At, shown)
		return r.At("conveyors", c.ID, "readings"), "Reading of " + c.Tag + " corrected.", err
	})
}

// readingAsked reads the accepted reading an address names by its instant.
func (s *Site) readingAsked(r *Request, c assets.Conveyor) (assets.Reading, error) {
	n, err := strconv.ParseInt(r.C.Param("at"), 10, 64)
	if err != nil {
		return assets.Reading{}, assets.ErrNotFound
	}
	at := assets.Instant(n)
	all, err := s.Meters.ReadingsBetween(r.Context(), r.Scope, c.ID, at, at+1)
	if err != nil {
		return assets.Reading{}, err
	}
	if len(all) == 0 {
		return assets.Reading{}, assets.ErrNotFound
	}
	return all[0], nil
}
