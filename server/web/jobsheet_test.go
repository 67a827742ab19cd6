package web

import (
	"context"

	"carryside/assets"
	"carryside/schedule/jobsheet"
	"carryside/schedule/workorder"
)

func (o *fakeOffice) Sheet(_ context.Context, _ assets.Scope, of workorder.Order, form assets.Form, bond assets.Bond) (SheetFile, error) {
	return SheetFile{Sheet: assets.JobSheet{OrderID: of.ID, Steps: jobsheet.Usual(of.Kind, form, bond)}}, nil
}

func (o *fakeOffice) NoteSteps(_ context.Context, _ assets.Scope, act Act, _ workorder.Order, _ assets.Form, _ assets.Bond, _ SheetHead, entries []assets.JobEntry) error {
	return o.change(act, entries)
}

func (o *fakeOffice) TakeSheet(_ context.Context, _ assets.Scope, act Act, sent *SheetSent) (bool, error) {
	return false, o.change(act, sent)
}

func (o *fakeOffice) SignSheet(_ context.Context, _ assets.Scope, act Act, g assets.JobSignature, _ int64, _ string) (string, error) {
	return "", o.change(act, g)
}

func (o *fakeOffice) RefuseSignature(_ context.Context, _ assets.Scope, act Act, g assets.JobSignature, _ string) error {
	return o.change(act, g)
}

func (o *fakeOffice) SignaturesWaiting(context.Context, assets.Scope, int64) ([]SignatureFile, error) {
	return nil, nil
}

func (o *fakeOffice) Signature(context.Context, assets.Scope, int64, int64) (SignatureFile, error) {
	return SignatureFile{}, assets.ErrNotFound
}

func (f *fakePlant) SignCounted(ctx context.Context, scope assets.Scope, act Act, plantID, number, edit int64, step OrderStep, _ assets.JobCounted) error {
	return f.Step(ctx, scope, act, plantID, number, edit, step)
}

func (d *fakeDoor) PINOf(context.Context, int64) (assets.PersonPIN, error) {
	return assets.PersonPIN{}, assets.ErrNotFound
}

func (o *fakeOffice) StepTemplates(context.Context) ([]assets.JobTemplate, error) { return nil, nil }

func (o *fakeOffice) SaveStepTemplate(_ context.Context, act Act, t *assets.JobTemplate) error {
	return o.change(act, *t)
}

func (f *fakePlant) Emergency(_ context.Context, _ assets.Scope, act Act, _, done workorder.Order, _ workorder.Event, made Resplice) (int64, error) {
	return 500, f.office().change(act, []any{done, made})
}
