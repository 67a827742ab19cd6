package web

import (
	"context"
	"time"

	"carryside/assets"
	"carryside/schedule/round"
)

// The rounds of a fake plant: one of its first line, and the entries it took.

func (o *fakeOffice) Rounds(context.Context, assets.Scope, int64) ([]assets.Round, error) {
	r := assets.Round{PlantID: 3, Name: "Ship intake", LineIDs: []int64{o.plant.fleet.Register.Lines[0].ID}}
	r.ID, r.RowID = 4, 104
	return []assets.Round{r}, nil
}

func (o *fakeOffice) Round(ctx context.Context, scope assets.Scope, plantID, id int64) (assets.Round, error) {
	all, err := o.Rounds(ctx, scope, plantID)
	if err == nil && id != all[0].ID {
		err = assets.ErrNotFound
	}
	return all[0], err
}

func (o *fakeOffice) SaveRound(_ context.Context, _ assets.Scope, act Act, r *assets.Round) error {
	return o.change(act, *r)
}

func (o *fakeOffice) RoundFindings(context.Context, assets.Scope, int64, assets.Instant) ([]assets.Finding, error) {
	return o.plant.past[3].Findings, nil
}

func (o *fakeOffice) TakeEntry(_ context.Context, _ assets.Scope, act Act, sent *RoundSent) (bool, error) {
	return false, o.change(act, *sent)
}

func (o *fakeOffice) Contact(_ context.Context, device string, _ time.Time, _ time.Duration) (bool, error) {
	return device == "lost", nil
}

func (o *fakeOffice) RoundEntry(_ context.Context, _ assets.Scope, _, id int64) (RoundEntryFile, error) {
	if id != 6 {
		return RoundEntryFile{}, assets.ErrNotFound
	}
	two := int64(48 * time.Hour / time.Microsecond)
	at := assets.InstantOf(morning.Add(-time.Hour))
	return RoundEntryFile{Finding: o.plant.past[3].Findings[0], Entry: assets.RoundEntry{ID: 6, PlantID: 3, FindingID: 1, DeviceAt: at + assets.Instant(two), OffsetUS: &two, SentOffsetUS: two,
		ArrivedAt: assets.InstantOf(morning), Clock: assets.ClocksAsked}}, nil
}

func (o *fakeOffice) EntriesAsked(ctx context.Context, scope assets.Scope, plantID int64) ([]RoundEntryFile, error) {
	f, err := o.RoundEntry(ctx, scope, plantID, 6)
	return []RoundEntryFile{f}, err
}

func (o *fakeOffice) EntriesUnanswered(ctx context.Context, scope assets.Scope, plantID int64) ([]RoundEntryFile, error) {
	if !o.grave {
		return nil, nil
	}
	return o.EntriesAsked(ctx, scope, plantID)
}

func (o *fakeOffice) SetEntryClock(_ context.Context, _ assets.Scope, act Act, _ assets.RoundEntry, clock string, at assets.Instant, day assets.Day) error {
	return o.change(act, clock, at, day)
}

func (o *fakeOffice) AnswerEntry(_ context.Context, _ assets.Scope, act Act, e assets.RoundEntry) error {
	return o.change(act, e.ID)
}

func (o *fakeOffice) Phones(_ context.Context, personID int64) ([]Phone, error) {
	return []Phone{{Device: assets.Device{ID: 9, PersonID: personID, Name: "a phone"}, LastAt: assets.InstantOf(morning.Add(-time.Hour))}}, nil
}

func (o *fakeOffice) EndPhone(_ context.Context, act Act, id int64) error { return o.change(act, id) }

func (o *fakeOffice) WideInspections(context.Context, assets.Scope, int64) (round.Wide, error) {
	return round.Wide{}, nil
}

func (o *fakeOffice) PhonesSeen(context.Context, assets.Scope, int64) ([]Phone, error) {
	return []Phone{{Device: assets.Device{ID: 9, PersonID: 9, Name: "a phone"}, Whose: "N. Corvane"}, {Device: assets.Device{ID: 10, PersonID: 77, Name: "old tablet"}, Whose: "S. Ilveth"}}, nil
}

func (o *fakeOffice) EndPhoneSeen(_ context.Context, _ assets.Scope, act Act, _, id int64) error {
	if id != 10 {
		return assets.ErrNotFound
	}
	return o.change(act, id)
}

func (o *fakeOffice) FindingKinds(context.Context) (assets.FindingKinds, error) {
	return assets.TradeKinds(), nil
}

func (o *fakeOffice) SaveFindingKind(_ context.Context, act Act, k *assets.FindingKind) error {
	return o.change(act, *k)
}

// The standstills of a fake plant: one that has not ended, where the plant has it.

func (o *fakeOffice) Standstills(context.Context, assets.Scope, int64, assets.Instant) ([]assets.Standstill, error) {
	if !o.stands {
		return nil, nil
	}
	st, err := o.Standstill(context.Background(), assets.Scope{}, 3, 8)
	st.OrderID = o.restores
	return []assets.Standstill{st}, err
}

func (o *fakeOffice) Standstill(_ context.Context, _ assets.Scope, _, id int64) (assets.Standstill, error) {
	if id != 8 {
		return assets.Standstill{}, assets.ErrNotFound
	}
	return assets.Standstill{Version: assets.Version{ID: 8, RowID: 108}, PlantID: 3, ConveyorID: 3, FromAt: assets.InstantOf(morning.Add(-90 * time.Minute)), Cause: assets.CauseDrive}, nil
}

func (o *fakeOffice) SaveStandstill(_ context.Context, _ assets.Scope, act Act, s *assets.Standstill) (bool, error) {
	return false, o.change(act, *s)
}
