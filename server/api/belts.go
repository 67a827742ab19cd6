package api

import (
	"context"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
)

// belt is a belt on a conveyor, or one that was.
type belt struct {
	ID                  int64     `json:"id"`
	ConveyorID          int64     `json:"conveyor_id"`
	SpecificationID     *int64    `json:"specification_id,omitempty" doc:"in the catalogue"`
	Specification       string    `json:"specification,omitempty" doc:"as written"`
	Family              string    `json:"family,omitempty" doc:"belt family by the catalogue"`
	WidthM              *float64  `json:"width_m,omitempty"`
	LoopLengthM         *float64  `json:"loop_length_m,omitempty"`
	ThicknessM          *float64  `json:"thickness_m,omitempty"`
	WorkingTensionNPerM *float64  `json:"working_tension_n_per_m,omitempty"`
	RollNumber          string    `json:"roll_number,omitempty"`
	Fitted              *lifeDate `json:"fitted,omitempty"`
	FittedBy            string    `json:"fitted_by,omitempty"`
	Removed             *lifeDate `json:"removed,omitempty"`
	RemovedWhy          string    `json:"removed_why,omitempty"`
	TakeUpUsedM         *float64  `json:"take_up_used_when_fitted_m,omitempty" doc:"from the new-belt end"`
	Remark              string    `json:"remark,omitempty"`
}

// beltQuery is a list of belts.
type beltQuery struct {
	ListOf
	Conveyor int64 `query:"conveyor" minimum:"1" doc:"those of this conveyor, with the ones it had before"`
}

// ofBelt is the address of a belt.
type ofBelt struct {
	InPlant
	Then
	Belt int64 `path:"belt" minimum:"1" doc:"number of the belt"`
}

func (s *service) belts(a huma.API) {
	huma.Register(a, read("list-belts", "/plants/{plant}/belts", "Registry", "The belts that are on the conveyors of a plant", "With conveyor: also those that were on it before."), answer(s, s.listBelts))
	huma.Register(a, read("get-belt", "/plants/{plant}/belts/{belt}", "Registry", "One belt", ""), answer(s, s.getBelt))
}

func (s *service) listBelts(ctx context.Context, in *beltQuery) (*listed[belt], error) {
	v, err := s.look(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	list := slices.DeleteFunc(slices.Clone(v.Register.Belts), func(b assets.Belt) bool { return v.ended(b.Removed) })
	if in.Conveyor != 0 {
		past, err := v.Past(ctx, in.Conveyor)
		if err != nil {
			return nil, err
		}
		list = past.Belts
	}
	list = byID(list, func(b assets.Belt) int64 { return b.ID })
	return pageOf(list, func(b assets.Belt) string { return rising(b.ID) }, in.Paging, v.belt)
}

func (s *service) getBelt(ctx context.Context, in *ofBelt) (*single[belt], error) {
	v, err := s.look(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	b, err := v.Belt(ctx, in.Belt)
	if err != nil {
		return nil, err
	}
	return one(v.belt(b)), nil
}

func (v *view) belt(b assets.Belt) belt {
	if !v.ended(b.Removed) { // what came later is not told of then
		b.RemovedWhen, b.RemovedWhy = assets.When{}, ""
	}
	return belt{ID: b.ID, ConveyorID: b.ConveyorID, SpecificationID: known(b.SpecificationID), Specification: b.Specification, Family: v.Register.Family(b),
		WidthM: known(b.WidthM), LoopLengthM: known(b.LoopLengthM), ThicknessM: known(b.ThicknessM), WorkingTensionNPerM: known(b.WorkingTensionNPerM),
		RollNumber: b.RollNumber, Fitted: dateOf(b.Fitted), FittedBy: b.FittedBy, Removed: dateOf(b.RemovedWhen), RemovedWhy: b.RemovedWhy,
		TakeUpUsedM: b.TakeUpUsedM, Remark: b.Remark}
}
