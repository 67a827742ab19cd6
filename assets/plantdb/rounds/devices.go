package rounds

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// ErrEnded says that nothing is taken from a phone any more; its page wipes what it keeps.
var ErrEnded = errors.New("this phone was ended")

// Seen is a phone with when it was heard of last.
type Seen struct {
	assets.Device
	LastAt   assets.Instant // 0: never
	OffsetUS int64          // its clock less the program's then
}

// Devices lists the phones of a person, the newest first.
func Devices(ctx context.Context, db *plantdb.DB, personID int64) ([]Seen, error) {
	var out []Seen
	err := db.SQL(ctx).Raw(`SELECT d.*, coalesce(c.at, 0) AS last_at, coalesce(c.offset_us, 0) AS offset_us FROM devices d
		LEFT JOIN device_contacts c ON c.device_id = d.id WHERE d.person_id = ? ORDER BY d.id DESC`, personID).Scan(&out).Error
	return out, err
}

// DevicesSeen lists the phones that findings and sheets of a plant came from, the one heard of last first.
func DevicesSeen(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]Seen, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	var out []Seen
	err := db.SQL(ctx).Raw(`SELECT d.*, coalesce(c.at, 0) AS last_at, coalesce(c.offset_us, 0) AS offset_us FROM devices d
		LEFT JOIN device_contacts c ON c.device_id = d.id WHERE d.id IN (SELECT device_id FROM round_entries WHERE plant_id = ? UNION SELECT device_id FROM job_entries WHERE plant_id = ?
			UNION SELECT device_id FROM job_signatures WHERE plant_id = ?) ORDER BY last_at DESC, d.id`, plantID, plantID, plantID).Scan(&out).Error
	return out, err
}

// Device returns the phone that calls itself so; false when it never sent anything.
func Device(ctx context.Context, db *plantdb.DB, clientID string) (assets.Device, bool, error) {
	rows, err := plantdb.Rows[assets.Device](db.SQL(ctx).Where("client_id = ?", clientID))
	if err != nil || len(rows) == 0 {
		return assets.Device{}, false, err
	}
	return rows[0], true, nil
}

func deviceOf(c *plantdb.Change, id int64) (assets.Device, error) {
	rows, err := plantdb.Rows[assets.Device](c.Tx().Where("id = ?", id))
	if err == nil && len(rows) == 0 {
		err = fmt.Errorf("device %d: %w", id, assets.ErrNotFound)
	}
	if err != nil {
		return assets.Device{}, err
	}
	return rows[0], nil
}

// Know returns the phone that calls itself so, added when it is new. The act must declare the company.
func Know(c *plantdb.Change, clientID, name string) (assets.Device, error) {
	if clientID == "" || len(clientID) > mostIDLetters {
		return assets.Device{}, assets.Invalid{"": "this phone has lost its number; open the round again"}
	}
	rows, err := plantdb.Rows[assets.Device](c.Tx().Where("client_id = ?", clientID))
	if err != nil {
		return assets.Device{}, err
	}
	if len(rows) > 0 {
		return rows[0], nil
	}
	ch, err := c.Chain(0)
	if err != nil {
		return assets.Device{}, err
	}
	d := assets.Device{ClientID: clientID, PersonID: c.Act.PersonID, Name: shortened(name), AddedAt: c.Now(), KnownFrom: ch.Position}
	d.ID = c.Scattered()
	return d, plantdb.Insert(c, ch, d.ID, &d)
}

func shortened(name string) string {
	r := []rune(strings.Join(strings.Fields(name), " "))
	return string(r[:min(len(r), 80)])
}

// EndDevice ends a phone of a person. The act must declare the company.
func EndDevice(c *plantdb.Change, personID, id int64) error {
	d, err := deviceOf(c, id)
	if err != nil {
		return err
	}
	if d.PersonID != personID {
		return fmt.Errorf("device %d: %w", id, assets.ErrNotFound)
	}
	return end(c, d)
}

// EndDeviceSeen ends a phone that findings or sheets of a plant came from, whosever it is. The act must declare the company.
func EndDeviceSeen(c *plantdb.Change, plantID, id int64) error {
	d, err := deviceOf(c, id)
	if err != nil {
		return err
	}
	var here int64
	if err := c.Tx().Raw(`SELECT (SELECT count(*) FROM round_entries WHERE plant_id = ? AND device_id = ?) + (SELECT count(*) FROM job_entries WHERE plant_id = ? AND device_id = ?)
		+ (SELECT count(*) FROM job_signatures WHERE plant_id = ? AND device_id = ?)`, plantID, id, plantID, id, plantID, id).Scan(&here).Error; err != nil {
		return err
	}
	if here == 0 {
		return fmt.Errorf("device %d: %w", id, assets.ErrNotFound)
	}
	return end(c, d)
}

func end(c *plantdb.Change, d assets.Device) error {
	id := d.ID
	if d.EndedAt != nil {
		return nil
	}
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	if err := c.Tx().Exec("UPDATE devices SET ended_at = ?, ended_by = ? WHERE id = ?", c.Now(), c.Act.PersonID, id).Error; err != nil {
		return err
	}
	c.Wrote(ch, "devices", id)
	c.Note(ch, plantdb.Written{Table: "devices", ID: id, After: map[string]any{"ended_at": c.Now(), "ended_by": c.Act.PersonID}})
	return nil
}

// NoteContact keeps when a phone was heard of last and how far its clock was off.
func NoteContact(ctx context.Context, db *plantdb.DB, deviceID int64, at assets.Instant, offset time.Duration) error {
	return db.InTx(ctx, func(tx *plantdb.DB) error {
		return tx.SQL(ctx).Exec(`INSERT INTO device_contacts (device_id, at, offset_us) VALUES (?, ?, ?)
			ON CONFLICT (device_id) DO UPDATE SET at = excluded.at, offset_us = excluded.offset_us`, deviceID, at, offset.Microseconds()).Error
	})
}
