package web

import (
	"context"

	"carryside/assets"
)

func (o *fakeOffice) Recipes(context.Context) ([]assets.Recipe, error) { return nil, nil }

func (o *fakeOffice) Editions(context.Context, int64) ([]assets.Recipe, map[int64]string, error) {
	return nil, nil, assets.ErrNotFound
}

func (o *fakeOffice) SaveRecipe(_ context.Context, act Act, r *assets.Recipe) error {
	return o.change(act, *r)
}

func (o *fakeOffice) Pressed(context.Context, assets.Scope, PressFilter) ([]PressedSplice, error) {
	return nil, nil
}

func (o *fakeOffice) PressRecord(context.Context, assets.Scope, int64) (PressFile, error) {
	return PressFile{}, assets.ErrNotFound
}

func (o *fakeOffice) KeepPress(_ context.Context, _ assets.Scope, act Act, r *assets.PressRecord, _ assets.Day) error {
	return o.change(act, *r)
}

func (o *fakeOffice) WithdrawPress(_ context.Context, _ assets.Scope, act Act, _, id, _ int64) error {
	return o.change(act, id)
}
