package api

import (
	"context"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
	"carryside/schedule/due"
)

// splice is a splice, and for a running one where it stands.
type splice struct {
	ID            int64     `json:"id"`
	ConveyorID    int64     `json:"conveyor_id"`
	Conveyor      string    `json:"conveyor,omitempty" doc:"its tag"`
	BeltID        int64     `json:"belt_id"`
	Number        string    `json:"number" doc:"mark on the belt"`
	PositionM     *float64  `json:"position_m,omitempty" doc:"from the belt's zero mark along the loop"`
	Form          string    `json:"form,omitempty"`
	Bond          string    `json:"bond,omitempty"`
	Kind          string    `json:"kind" doc:"form and bond in words"`
	FingerPitchM  *float64  `json:"finger_pitch_m,omitempty"`
	FingerLengthM *float64  `json:"finger_length_m,omitempty"`
	StepLengthM   *float64  `json:"step_length_m,omitempty"`
	Steps         *int      `json:"steps,omitempty"`
	BiasAngleDeg  *float64  `json:"bias_angle_deg,omitempty"`
	Made          *lifeDate `json:"made,omitempty"`
	MadeBy        string    `json:"made_by,omitempty"`
	MadeWith      string    `json:"made_with,omitempty"`
	Ended         *lifeDate `json:"ended,omitempty" doc:"absent while it runs"`
	EndedWhy      string    `json:"ended_why,omitempty"`
	FailureMode   string    `json:"failure_mode,omitempty"`
	Remark        string    `json:"remark,omitempty"`
	Standing      *standing `json:"standing,omitempty" doc:"where a running splice stands"`
}

// standing is where a running splice stands.
type standing struct {
	Age       *age       `json:"age,omitempty" doc:"on the four clocks; absent where the date it was made is not known"`
	LifeUsed  *figure    `json:"life_used,omitempty" doc:"age as a share of the best age or of the binding rule, whichever is reached first: 1 is 100 %. A rule of thumb (class D) binds nothing. It is not a chance of failing"`
	Band      string     `json:"band" doc:"step that life used stands on, in words"`
	DueAt     *time.Time `json:"next_due_at,omitempty"`
	DueDay    string     `json:"next_due_day,omitempty" format:"date" doc:"day of next_due_at at the plant: the recommended date, the earliest of best age, binding rule, trend and finding; absent where nothing sets one"`
	Overdue   bool       `json:"overdue"`
	Reason    string     `json:"reason" doc:"what sets the date, in words with its numbers"`
	By        string     `json:"due_by,omitempty" enum:"rule,best age,trend,finding" doc:"what sets the date"`
	Class     string     `json:"due_class,omitempty" doc:"evidence class of what sets the date"`
	Thumb     *thumb     `json:"rule_of_thumb,omitempty" doc:"what a rule of class D says beside it; it binds nothing"`
	Limit     *limit     `json:"limit,omitempty" doc:"what life used is held against: the binding re-splice rule in force that falls due first, or the best age where that comes first"`
	CountFrom *time.Time `json:"counts_from,omitempty" doc:"what the age counts from"`
}

// thumb is what a rule of thumb says of a splice.
type thumb struct {
	RuleID int64   `json:"rule_id"`
	Name   string  `json:"rule"`
	Day    string  `json:"day,omitempty" format:"date" doc:"on which it is reached; absent where it never is"`
	Used   *figure `json:"share_used,omitempty" doc:"age as a share of it"`
	Words  string  `json:"words"`
}

// age is an age on the four clocks.
type age struct {
	Days          int     `json:"days" doc:"whole days by the plant's calendar"`
	AtLeastDays   int     `json:"at_least_days" doc:"whole days since the latest date it can have been made"`
	Exact         bool    `json:"exact"`
	RunHours      *figure `json:"running_h,omitempty"`
	Passes        *figure `json:"passes,omitempty" doc:"times once round the loop"`
	Flexes        *figure `json:"flexes,omitempty" doc:"passes times the pulleys it bends over"`
	ReverseFlexes *figure `json:"reverse_flexes,omitempty" doc:"those of them on the carrying face"`
}

// limit is a rule in force applied to a splice.
type limit struct {
	RuleID  int64   `json:"rule_id"`
	Name    string  `json:"rule"`
	Class   string  `json:"class" doc:"evidence class: A maker's instruction or standard, B handbook, C this plant's history, P this plant's decision, D rule of thumb"`
	Source  string  `json:"source,omitempty"`
	Clock   string  `json:"clock" enum:"days,running hours,passes"`
	Limit   float64 `json:"limit" doc:"in days, running hours or passes"`
	Reached *figure `json:"reached,omitempty" doc:"age on that clock"`
}

// spliceQuery is a list of splices.
type spliceQuery struct {
	ListOf
	Conveyor int64 `query:"conveyor" minimum:"1" doc:"those of this conveyor, with the ones that have ended"`
	Overdue  bool  `query:"overdue" doc:"only those whose date has passed"`
}

// ofSplice is the address of a splice.
type ofSplice struct {
	InPlant
	Then
	Splice int64 `path:"splice" minimum:"1" doc:"number of the splice"`
}

func (s *service) splices(a huma.API) {
	huma.Register(a, read("list-splices", "/plants/{plant}/splices", "Registry", "The running splices of a plant, each with its age on the four clocks, when it falls due and why",
		"With conveyor: also those of it that have ended."), answer(s, s.listSplices))
	huma.Register(a, read("get-splice", "/plants/{plant}/splices/{splice}", "Registry", "One splice", ""), answer(s, s.getSplice))
}

func (s *service) listSplices(ctx context.Context, in *spliceQuery) (*listed[splice], error) {
	v, err := s.look(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	stand := v.standings()
	list := slices.DeleteFunc(slices.Clone(v.Register.Splices), func(sp assets.Splice) bool { return v.ended(sp.Ended) })
	if in.Conveyor != 0 {
		past, err := v.Past(ctx, in.Conveyor)
		if err != nil {
			return nil, err
		}
		list = past.Splices
	}
	list = byID(list, func(sp assets.Splice) int64 { return sp.ID })
	if in.Overdue {
		list = slices.DeleteFunc(list, func(sp assets.Splice) bool { st := stand[sp.ID]; return st == nil || !st.Overdue })
	}
	return pageOf(list, func(sp assets.Splice) string { return rising(sp.ID) }, in.Paging, func(sp assets.Splice) splice { return v.splice(sp, stand[sp.ID]) })
}

func (s *service) getSplice(ctx context.Context, in *ofSplice) (*single[splice], error) {
	v, err := s.look(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	sp, err := v.Splice(ctx, in.Splice)
	if err != nil {
		return nil, err
	}
	return one(v.splice(sp, v.standings()[sp.ID])), nil
}

// standings are where the running splices stand, by splice.
func (v *view) standings() map[int64]*due.Standing {
	of := make(map[int64]*due.Standing, len(v.Standings))
	for i := range v.Standings {
		of[v.Standings[i].SpliceID] = &v.Standings[i]
	}
	return of
}

func (v *view) splice(s assets.Splice, st *due.Standing) splice {
	c, _ := v.Register.Conveyor(s.ConveyorID)
	out := splice{ID: s.ID, ConveyorID: s.ConveyorID, Conveyor: c.Tag, BeltID: s.BeltID, Number: s.Number, PositionM: s.PositionM, Form: string(s.Form), Bond: string(s.Bond),
		Kind: assets.KindWords(s.Form, s.Bond), FingerPitchM: known(s.FingerPitchM), FingerLengthM: known(s.FingerLengthM), StepLengthM: known(s.StepLengthM),
		Steps: known(s.Steps), BiasAngleDeg: known(s.BiasAngleDeg), Made: dateOf(s.Made), MadeBy: s.MadeBy, MadeWith: s.MadeWith,
		Remark: s.Remark}
	if v.ended(s.Ended) { // what came later is not told of then
		out.Ended, out.EndedWhy, out.FailureMode = dateOf(s.Retired), string(s.RetiredWhy), s.FailureMode
	}
	if st != nil {
		out.Standing = tellStanding(*st)
	}
	return out
}

func tellStanding(st due.Standing) *standing {
	out := &standing{LifeUsed: figureOf(st.Used), Band: string(st.Band), DueAt: moment(st.DueAt), DueDay: string(st.DueDay), Overdue: st.Overdue, Reason: st.Reason, By: st.By, Class: string(st.Class), CountFrom: moment(st.From)}
	if a := st.Age; a.Known {
		out.Age = &age{Days: a.Days, AtLeastDays: a.AtLeastDays, Exact: a.Exact, RunHours: figureOf(a.RunHours), Passes: figureOf(a.Passes),
			Flexes: figureOf(a.Flexes), ReverseFlexes: figureOf(a.ReverseFlexes)}
	}
	if l := st.Limit; l != nil {
		out.Limit = &limit{RuleID: l.RuleID, Name: l.Name, Class: string(l.Class), Source: l.Source, Clock: string(l.Clock), Limit: l.Limit, Reached: figureOf(l.Reached)}
	}
	if h := st.Hint; h != nil {
		out.Thumb = &thumb{RuleID: h.Limit.RuleID, Name: h.Limit.Name, Day: string(h.Day), Used: figureOf(h.Used), Words: h.Words}
	}
	return out
}
