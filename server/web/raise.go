package web

import (
	"fmt"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// raiseOrder answers: what is to be done, at which conveyor, and why? It is for work that no rule raised.
func (s *Site) raiseOrder(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	from, err := s.orderAskedFor(r, reg)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Raise the order", Leave: r.At("orders")}
		p.Sheet, p.Say = "Raise an order", "Raise an order for work that no rule has raised"
		p.Says = []string{"It joins the list as raised: accept it and place it in a stop from its page. If an order for the same is open already, work with that one."}
		p.section("What and where",
			f.Select("target", "Conveyor or splice", from, r.targetOptions(reg)).Must(),
			f.Select("kind", "What for", string(workorder.KindResplice), choices("", workorder.Kinds, func(k workorder.Kind) string { return string(k) })).Must(),
			f.Text("title", "In a few words", "").Must().Hinted("remake splice 2"),
			f.Area("why", "Why", "").Must().OverBoth())
		f.Hidden("finding", r.Query("finding"))
		p.section("By when, how much",
			f.Date("latest_day", "Latest date", ""),
			f.Number("work_hours", "Work in the stop", "", "h"),
			f.Number("crew", "People needed", "", ""))
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		o := workorder.Order{PlantID: r.PlantID(), Kind: workorder.Kind(e.text("kind")), Title: e.text("title"), LatestDay: e.day("latest_day"),
			FindingID: e.id("finding"), WorkHours: e.number("work_hours"), Crew: e.whole("crew", 0, 100), Reason: e.must("why", "the reason: it is printed under the order")}
		e.target(&o, reg)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		raised, event, err := workorder.Raise(o, r.actor(), r.Now, r.Now, r.F.Today())
		if err != nil {
			return "", "", err
		}
		number, err := s.Orders.Raise(r.Context(), r.Scope, r.act("raise an order: "+o.Title, o.Reason), raised, event)
		return r.At("orders", number), fmt.Sprintf("Order %d raised.", number), err
	})
}

// targetOptions are the conveyors in use, each followed by its live splices.
func (r *Request) targetOptions(reg *assets.Register) []Option {
	options := []Option{{Label: "choose one"}}
	now := assets.InstantOf(r.Now)
	for _, c := range reg.Conveyors {
		if c.Status == assets.ConveyorRetired {
			continue
		}
		options = append(options, Option{Value: "c" + plainInt(c.ID), Label: joinWords(c.Tag, c.Name)})
		for _, s := range reg.SplicesOn(c.ID) {
			if s.Live(now) {
				options = append(options, Option{Value: "s" + plainInt(s.ID), Label: c.Tag + " splice " + s.Number})
			}
		}
	}
	return options
}

// orderAskedFor is the target that the address names: ?splice=32 or ?conveyor=3. What is named and is not there, the
// finding too, is not found.
func (s *Site) orderAskedFor(r *Request, reg *assets.Register) (string, error) {
	if asked := r.Query("finding"); asked != "" {
		fd, err := s.Registers.Finding(r.Context(), r.Scope, numberOf(asked))
		if err = r.ofPlant(fd.PlantID, err); err != nil {
			return "", err
		}
	}
	if asked := r.Query("splice"); asked != "" {
		_, ok := reg.Splice(numberOf(asked))
		return orNotFound("s"+asked, ok)
	}
	if asked := r.Query("conveyor"); asked != "" {
		_, ok := reg.Conveyor(numberOf(asked))
		return orNotFound("c"+asked, ok)
	}
	return "", nil
}

// orNotFound is a choice, or assets.ErrNotFound where what it names is not there.
func orNotFound(choice string, there bool) (string, error) {
	if !there {
		return "", assets.ErrNotFound
	}
	return choice, nil
}

// target reads what an order is about.
func (e *entry) target(o *workorder.Order, reg *assets.Register) {
	text := e.text("target")
	if len(text) > 1 && text[0] == 's' {
		if s, ok := reg.Splice(numberOf(text[1:])); ok {
			o.SpliceID, o.BeltID, o.ConveyorID = s.ID, s.BeltID, s.ConveyorID
			return
		}
	}
	if len(text) > 1 && text[0] == 'c' {
		if c, ok := reg.Conveyor(numberOf(text[1:])); ok {
			o.ConveyorID = c.ID
			if b, on := reg.BeltOn(c.ID, 0); on {
				o.BeltID = b.ID
			}
			return
		}
	}
	e.bad.Add("target", "choose a conveyor or a splice from the list")
}
