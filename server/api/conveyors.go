package api

import (
	"context"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
	"carryside/assets/loop"
	"carryside/assets/unit"
	"carryside/schedule/people"
	"carryside/schedule/rules"
)

// conveyor is a conveyor with the figures of its loop.
type conveyor struct {
	ID              int64     `json:"id"`
	LineID          *int64    `json:"line_id,omitempty"`
	Line            string    `json:"line,omitempty"`
	Tag             string    `json:"tag"`
	Name            string    `json:"name,omitempty"`
	OtherNames      []string  `json:"other_names,omitempty"`
	Position        int       `json:"position" doc:"order along the line"`
	Status          string    `json:"status" enum:"in_use,retired"`
	SpeedMPS        *float64  `json:"speed_mps,omitempty" doc:"belt speed, m/s"`
	SpeedMaxMPS     *float64  `json:"speed_max_mps,omitempty" doc:"highest speed of a variable drive, m/s"`
	Product         string    `json:"product,omitempty"`
	ProductC        *float64  `json:"product_temperature_c,omitempty" doc:"°C"`
	WashDown        bool      `json:"wash_down"`
	Abrasive        bool      `json:"abrasive"`
	Outdoor         bool      `json:"outdoor"`
	CentreDistanceM *float64  `json:"centre_distance_m,omitempty" doc:"head to tail"`
	InclineDeg      float64   `json:"incline_deg"`
	TakeUpTravelM   *float64  `json:"take_up_travel_m,omitempty" doc:"whole travel"`
	TakeUpKind      string    `json:"take_up_kind,omitempty"`
	StopCostPerHour *float64  `json:"stop_cost_per_h,omitempty" doc:"of an unplanned stop, in the plant's currency; for who may see costs"`
	IsolationGroup  string    `json:"isolation_group,omitempty"`
	AccessNote      string    `json:"access_note,omitempty"`
	Retired         *lifeDate `json:"retired,omitempty"`
	Remark          string    `json:"remark,omitempty"`
	Loop            *loopTold `json:"loop,omitempty" doc:"of the belt that is on; absent without one"`
	Pulleys         []pulley  `json:"pulleys,omitempty" doc:"in belt order from the tail along the carry side; told of one conveyor, not in lists"`
}

// loopTold is a belt's loop in figures.
type loopTold struct {
	BeltID        int64    `json:"belt_id"`
	LengthM       *float64 `json:"length_m,omitempty" doc:"loop length as kept of the belt"`
	RoundS        *float64 `json:"once_round_s,omitempty" doc:"loop length / belt speed"`
	PassesPerHour *float64 `json:"passes_per_h,omitempty" doc:"3600 x belt speed (m/s) / loop length (m)"`
	Bends         int      `json:"bends" doc:"pulleys the belt bends over"`
	ReverseBends  int      `json:"reverse_bends" doc:"those of them on the carrying face"`
	MeasuredM     *float64 `json:"length_by_pulleys_m,omitempty" doc:"length of the way round the pulleys, where the places of all are given; told of one conveyor, not in lists"`
	TakeUpUsedM   *float64 `json:"take_up_used_m,omitempty" doc:"take-up travel used, from the new-belt end; told of one conveyor, not in lists"`
	ResplicesLeft *int     `json:"resplices_left,omitempty" doc:"re-splices the take-up allows; told of one conveyor, not in lists"`
}

// pulley is one pulley.
type pulley struct {
	Role      string   `json:"role" enum:"head,tail,snub,bend,take-up"`
	DiameterM *float64 `json:"diameter_m,omitempty"`
	WrapDeg   *float64 `json:"wrap_deg,omitempty" doc:"as given, else by the geometry"`
	OuterFace bool     `json:"outer_face" doc:"touches the carrying face: a reverse bend"`
	XM        *float64 `json:"x_m,omitempty" doc:"centre in the direction of the material, tail at 0"`
	YM        *float64 `json:"y_m,omitempty" doc:"centre upwards, tail at 0"`
	Drive     bool     `json:"drive"`
	Lagged    bool     `json:"lagged"`
}

// conveyorQuery is a list of conveyors.
type conveyorQuery struct {
	ListOf
	Line    int64 `query:"line" minimum:"1" doc:"only those of this line"`
	Retired bool  `query:"retired" doc:"those out of use instead of those in use"`
}

// OfConveyor is the address of a conveyor.
type OfConveyor struct {
	InPlant
	Conveyor int64 `path:"conveyor" minimum:"1" doc:"number of the conveyor"`
}

// conveyorThen is one conveyor.
type conveyorThen struct {
	OfConveyor
	Then
}

func (s *service) conveyors(a huma.API) {
	huma.Register(a, read("list-conveyors", "/plants/{plant}/conveyors", "Registry", "The conveyors of a plant", ""), answer(s, s.listConveyors))
	huma.Register(a, read("get-conveyor", "/plants/{plant}/conveyors/{conveyor}", "Registry", "One conveyor with its pulleys and the figures of its loop", ""), answer(s, s.getConveyor))
}

func (s *service) listConveyors(ctx context.Context, in *conveyorQuery) (*listed[conveyor], error) {
	v, err := s.look(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	list := v.Register.Conveyors
	if in.Retired {
		if list, err = v.Retired(ctx); err != nil {
			return nil, err
		}
	}
	list = byID(list, func(c assets.Conveyor) int64 { return c.ID })
	list = slices.DeleteFunc(list, func(c assets.Conveyor) bool {
		return in.Line != 0 && c.LineID != in.Line || (c.Status == assets.ConveyorRetired) != in.Retired
	})
	return pageOf(list, func(c assets.Conveyor) string { return rising(c.ID) }, in.Paging, v.conveyor)
}

func (s *service) getConveyor(ctx context.Context, in *conveyorThen) (*single[conveyor], error) {
	v, c, err := s.conveyorOf(ctx, in.OfConveyor, in.Then)
	if err != nil {
		return nil, err
	}
	out := v.conveyor(c)
	out.Pulleys = tellPulleys(c.Pulleys)
	past, err := v.Past(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	if b, on := v.Register.BeltOn(c.ID, v.Register.At); on && out.Loop != nil {
		v.takeUp(out.Loop, c, b, past.Findings)
		measure(&out, c, b)
	}
	return one(out), nil
}

// ended tells whether something had come to its end by the moment looked at.
func (m plantSeen) ended(at *assets.Instant) bool { return at != nil && *at <= assets.InstantOf(m.at) }

// conveyorOf reads a conveyor of a plant, in use or not.
func (s *service) conveyorOf(ctx context.Context, of OfConveyor, then Then) (*view, assets.Conveyor, error) {
	v, err := s.look(ctx, of.Plant, then)
	if err != nil {
		return nil, assets.Conveyor{}, err
	}
	c, err := v.Conveyor(ctx, of.Conveyor)
	return v, c, err
}

func (v *view) conveyor(c assets.Conveyor) conveyor {
	out := conveyor{ID: c.ID, LineID: known(c.LineID), Line: v.Register.LineName(c), Tag: c.Tag, Name: c.Name, OtherNames: c.OtherNames, Position: c.Position,
		Status: string(c.Status), SpeedMPS: known(c.SpeedMPS), SpeedMaxMPS: known(c.SpeedMaxMPS), Product: c.Product, ProductC: c.ProductC,
		WashDown: c.WashDown, Abrasive: c.Abrasive, Outdoor: c.Outdoor, CentreDistanceM: known(c.CentreDistanceM), InclineDeg: c.InclineDeg,
		TakeUpTravelM: known(c.TakeUpTravelM), TakeUpKind: c.TakeUpKind, IsolationGroup: c.IsolationGroup, AccessNote: c.AccessNote,
		Retired: dateOf(c.Retired), Remark: c.Remark}
	if v.asker.Who.May(people.ReadCosts, v.plant.CustomerID, v.plant.ID) {
		out.StopCostPerHour = known(c.StopCostPerHour)
	}
	if b, on := v.Register.BeltOn(c.ID, v.Register.At); on {
		out.Loop = loopOf(c, b)
	}
	return out
}

func loopOf(c assets.Conveyor, b assets.Belt) *loopTold {
	t := &loopTold{BeltID: b.ID, LengthM: known(b.LoopLengthM), Bends: len(c.Pulleys)}
	for _, p := range c.Pulleys {
		if p.OuterFace {
			t.ReverseBends++
		}
	}
	if c.SpeedMPS > 0 && b.LoopLengthM > 0 {
		t.RoundS, t.PassesPerHour = known(b.LoopLengthM/c.SpeedMPS), known(3600*c.SpeedMPS/b.LoopLengthM)
	}
	return t
}

// takeUp adds how far the take-up is used, and what it still allows.
func (v *view) takeUp(t *loopTold, c assets.Conveyor, b assets.Belt, findings []assets.Finding) {
	if used, ok := rules.TravelUsedM(b, findings); ok {
		t.TakeUpUsedM = &used
	}
	live := slices.DeleteFunc(v.Register.SplicesOf(b.ID), func(s assets.Splice) bool { return v.ended(s.Ended) })
	if left, ok := rules.ResplicesLeft(c, b, live, findings); ok {
		t.ResplicesLeft = &left
	}
}

// measure adds what follows from the places of the pulleys, where they are given and the belt fits round them.
func measure(out *conveyor, c assets.Conveyor, b assets.Belt) {
	l, ok := loop.Of(c.Pulleys, b.ThicknessM)
	if !ok {
		return
	}
	path, err := l.Measure()
	if err != nil {
		return // the screens say why; here there is just no figure
	}
	out.Loop.MeasuredM = known(unit.MetresOf(path.LengthMM))
	for i := range out.Pulleys {
		if out.Pulleys[i].WrapDeg == nil {
			out.Pulleys[i].WrapDeg = &path.WrapsDeg[i]
		}
	}
}

func tellPulleys(list []assets.Pulley) []pulley {
	var out []pulley
	for _, p := range list {
		told := pulley{Role: string(p.Role), DiameterM: known(p.DiameterM), WrapDeg: known(p.WrapDeg), OuterFace: p.OuterFace, Drive: p.Drive, Lagged: p.Lagged}
		if p.Placed {
			x, y := p.XM, p.YM
			told.XM, told.YM = &x, &y
		}
		out = append(out, told)
	}
	return out
}
