package desk

import (
	"context"
	"errors"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/rounds"
	"carryside/schedule/round"
	"carryside/server/web"
)

// Rounds lists the rounds of a plant.
func (d *Desk) Rounds(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.Round, error) {
	return rounds.Of(ctx, d.db, scope, plantID)
}

// Round returns one of them.
func (d *Desk) Round(ctx context.Context, scope assets.Scope, plantID, id int64) (assets.Round, error) {
	return rounds.Round(ctx, d.db, scope, plantID, id)
}

// SaveRound adds a round or changes it.
func (d *Desk) SaveRound(ctx context.Context, scope assets.Scope, a web.Act, r *assets.Round) error {
	return d.write(ctx, scope, a, r.PlantID, func(c *plantdb.Change) error {
		next := *r // a change may run twice
		err := rounds.Save(c, &next)
		if err == nil {
			*r = next
		}
		return err
	})
}

// WideInspections says of which lines the open inspections are that rules raised for lines or the plant.
func (d *Desk) WideInspections(ctx context.Context, scope assets.Scope, plantID int64) (round.Wide, error) {
	return orders.WideInspections(ctx, d.db, scope, plantID)
}

// RoundFindings lists what was found at a plant since an instant, newest first.
func (d *Desk) RoundFindings(ctx context.Context, scope assets.Scope, plantID int64, since assets.Instant) ([]assets.Finding, error) {
	return registry.FindingsOfPlant(ctx, d.db, scope, plantID, since, plantdb.AsOf{}, 0)
}

// TakeEntry keeps an entry of a phone and its finding, once.
func (d *Desk) TakeEntry(ctx context.Context, scope assets.Scope, a web.Act, sent *web.RoundSent) (again bool, err error) {
	if err := d.db.Reach(ctx, scope, sent.Entry.PlantID); err != nil {
		return false, err
	}
	acts := act(a, sent.Entry.PlantID)
	acts.Company = true // the phone is in the company's chain
	err = d.db.Change(ctx, acts, func(c *plantdb.Change) error {
		next := *sent // a change may run twice
		device, err := rounds.Know(c, next.Device, next.DeviceName)
		if err != nil {
			return err
		}
		next.Entry.DeviceID = device.ID
		if again, err = rounds.Take(c, &next.Entry, &next.Finding); err == nil {
			*sent = next
		}
		return err
	})
	if errors.Is(err, rounds.ErrEnded) {
		return false, web.ErrDeviceEnded
	}
	if err == nil {
		err = rounds.NoteContact(ctx, d.db, sent.Entry.DeviceID, assets.InstantOf(a.Now), sent.Offset)
	}
	return again, err
}

// Contact notes that a phone was heard of, and tells whether it was ended. One that never sent anything is not known.
func (d *Desk) Contact(ctx context.Context, device string, now time.Time, offset time.Duration) (ended bool, err error) {
	held, known, err := rounds.Device(ctx, d.db, device)
	if err != nil || !known || held.EndedAt != nil {
		return known && held.EndedAt != nil, err
	}
	return false, rounds.NoteContact(ctx, d.db, held.ID, assets.InstantOf(now), offset)
}

// RoundEntry returns an entry with its finding.
func (d *Desk) RoundEntry(ctx context.Context, scope assets.Scope, plantID, id int64) (web.RoundEntryFile, error) {
	e, err := rounds.Entry(ctx, d.db, scope, plantID, id)
	if err != nil {
		return web.RoundEntryFile{}, err
	}
	return d.entryFile(ctx, scope, e)
}

func (d *Desk) entryFile(ctx context.Context, scope assets.Scope, e assets.RoundEntry) (f web.RoundEntryFile, err error) {
	f.Entry = e
	f.Finding, err = registry.Finding(ctx, d.db, scope, e.FindingID)
	return f, err
}

// EntriesAsked lists the entries of which somebody has to say which clock was right.
func (d *Desk) EntriesAsked(ctx context.Context, scope assets.Scope, plantID int64) ([]web.RoundEntryFile, error) {
	all, err := rounds.Asked(ctx, d.db, scope, plantID)
	return d.entryFiles(ctx, scope, all, err)
}

// EntriesUnanswered lists the entries of grade 4 that nobody has answered.
func (d *Desk) EntriesUnanswered(ctx context.Context, scope assets.Scope, plantID int64) ([]web.RoundEntryFile, error) {
	all, err := rounds.Unanswered(ctx, d.db, scope, plantID)
	return d.entryFiles(ctx, scope, all, err)
}

func (d *Desk) entryFiles(ctx context.Context, scope assets.Scope, all []assets.RoundEntry, err error) ([]web.RoundEntryFile, error) {
	var out []web.RoundEntryFile
	for _, e := range all {
		if err != nil {
			break
		}
		var f web.RoundEntryFile
		f, err = d.entryFile(ctx, scope, e)
		out = append(out, f)
	}
	return out, err
}

// SetEntryClock says which clock an entry's time is taken from.
func (d *Desk) SetEntryClock(ctx context.Context, scope assets.Scope, a web.Act, e assets.RoundEntry, clock string, at assets.Instant, day assets.Day) error {
	return d.write(ctx, scope, a, e.PlantID, func(c *plantdb.Change) error { return rounds.SetClock(c, e, clock, at, day) })
}

// AnswerEntry says that whoever asks has taken on an entry of grade 4.
func (d *Desk) AnswerEntry(ctx context.Context, scope assets.Scope, a web.Act, e assets.RoundEntry) error {
	return d.write(ctx, scope, a, e.PlantID, func(c *plantdb.Change) error { return rounds.Answer(c, e) })
}

// Phones lists the phones of a person that send findings.
func (d *Desk) Phones(ctx context.Context, personID int64) ([]web.Phone, error) {
	all, err := rounds.Devices(ctx, d.db, personID)
	return phones(all), err
}

func phones(all []rounds.Seen) []web.Phone {
	out := make([]web.Phone, len(all))
	for i, p := range all {
		out[i] = web.Phone{Device: p.Device, LastAt: p.LastAt, Offset: time.Duration(p.OffsetUS) * time.Microsecond}
	}
	return out
}

// PhonesSeen lists the phones that findings of a plant came from, with whose they are.
func (d *Desk) PhonesSeen(ctx context.Context, scope assets.Scope, plantID int64) ([]web.Phone, error) {
	all, err := rounds.DevicesSeen(ctx, d.db, scope, plantID)
	if err != nil {
		return nil, err
	}
	ids := make([]int64, len(all))
	for i, p := range all {
		ids[i] = p.PersonID
	}
	names, err := registry.Names(ctx, d.db, ids)
	out := phones(all)
	for i := range out {
		out[i].Whose = names[out[i].PersonID]
	}
	return out, err
}

// EndPhoneSeen ends a phone that findings of a plant came from.
func (d *Desk) EndPhoneSeen(ctx context.Context, scope assets.Scope, a web.Act, plantID, id int64) error {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return err
	}
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error { return rounds.EndDeviceSeen(c, plantID, id) })
}

// FindingKinds lists the kinds of finding with what each grade means.
func (d *Desk) FindingKinds(ctx context.Context) (assets.FindingKinds, error) {
	return registry.FindingKinds(ctx, d.db, plantdb.AsOf{})
}

// SaveFindingKind adds a kind of finding or changes it.
func (d *Desk) SaveFindingKind(ctx context.Context, a web.Act, k *assets.FindingKind) error {
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error {
		next := *k // a change may run twice
		return registry.SaveFindingKind(c, &next)
	})
}

// EndPhone ends a phone of whoever asks.
func (d *Desk) EndPhone(ctx context.Context, a web.Act, id int64) error {
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error { return rounds.EndDevice(c, a.PersonID, id) })
}
