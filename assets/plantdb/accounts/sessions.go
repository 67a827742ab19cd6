package accounts

import (
	"context"
	"encoding/json"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// keptAfter is how long a session that is over stays, so that a page can say when somebody was last in.
const keptAfter = 90 * 24 * time.Hour

// OpenSession begins a session and gives it a number. Those that ended long ago are cleared away.
func (d *Door) OpenSession(ctx context.Context, s *assets.Session) error {
	s.ID = randomID()
	long := assets.InstantOf(d.Now().Add(-keptAfter))
	return doing("open a session", d.DB.InTx(ctx, func(tx *plantdb.DB) error {
		if err := tx.SQL(ctx).Exec("DELETE FROM sessions WHERE ends_at < ?", long).Error; err != nil {
			return err
		}
		return tx.SQL(ctx).Create(s).Error
	}))
}

// askingRow is a session, its person and one of their grants; a person without a grant comes once, with none.
type askingRow struct {
	assets.Session
	StateText  string
	Name       string
	Role       assets.Role
	PersonOf   int64
	GrantID    int64
	GrantRole  assets.Role
	CustomerID int64
	PlantID    int64
	FromAt     *assets.Instant
	UntilAt    *assets.Instant
}

// AskingSession returns the session of a token with its person and their grants in force, in one read through
// indexes. assets.ErrNotFound when there is none, when it was ended or is past its end.
func (d *Door) AskingSession(ctx context.Context, tokenHash string, now assets.Instant) (assets.Session, assets.Person, []assets.Grant, error) {
	var rows []askingRow
	err := d.DB.SQL(ctx).Raw(`SELECT s.id, s.token_hash, s.person_id, s.way, s.started_at, s.used_at, s.ends_at, s.address, s.browser,
		coalesce(s.state, '') AS state_text, p.name, p.role, p.customer_id AS person_of, coalesce(g.id, 0) AS grant_id, coalesce(g.role, '') AS grant_role,
		coalesce(g.customer_id, 0) AS customer_id, coalesce(g.plant_id, 0) AS plant_id, g.from_at, g.until_at
		FROM sessions s JOIN people p ON p.id = s.person_id LEFT JOIN grants g ON g.person_id = s.person_id AND g.known_to IS NULL
		WHERE s.token_hash = ? AND s.ended_at IS NULL AND s.ends_at > ? ORDER BY g.id`, tokenHash, now).Scan(&rows).Error
	if err == nil && len(rows) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return assets.Session{}, assets.Person{}, nil, doing("look up a session", err)
	}
	s, p := rows[0].Session, assets.Person{ID: rows[0].PersonID, CustomerID: rows[0].PersonOf, Name: rows[0].Name, Role: rows[0].Role}
	if rows[0].StateText != "" {
		if err := json.Unmarshal([]byte(rows[0].StateText), &s.State); err != nil {
			return s, p, nil, doing("read a session", err)
		}
	}
	var grants []assets.Grant
	for _, r := range rows {
		g := assets.Grant{ID: r.GrantID, PersonID: p.ID, Role: r.GrantRole, CustomerID: r.CustomerID, PlantID: r.PlantID, FromAt: r.FromAt, UntilAt: r.UntilAt}
		if g.ID != 0 && g.Holds(now) {
			grants = append(grants, g)
		}
	}
	return s, p, grants, nil
}

// KeepSession keeps what changes while a session is used. One that was ended meanwhile stays ended.
func (d *Door) KeepSession(ctx context.Context, s assets.Session) error {
	state, err := json.Marshal(s.State)
	if err != nil {
		return err
	}
	return doing("keep a session", d.DB.InTx(ctx, func(tx *plantdb.DB) error {
		return tx.SQL(ctx).Exec("UPDATE sessions SET used_at = ?, address = ?, browser = ?, state = ? WHERE id = ? AND ended_at IS NULL",
			s.UsedAt, s.Address, s.Browser, string(state), s.ID).Error
	}))
}

// SessionsOf returns the sessions of a person that still hold, the last used first.
func (d *Door) SessionsOf(ctx context.Context, personID int64, now assets.Instant) ([]assets.Session, error) {
	return plantdb.Rows[assets.Session](d.DB.SQL(ctx).Where("person_id = ? AND ended_at IS NULL AND ends_at > ?", personID, now).Order("used_at DESC, id"))
}

// EndSession ends one session of a person. assets.ErrNotFound when it is none of theirs, or is over.
func (d *Door) EndSession(ctx context.Context, personID, id int64, at assets.Instant) error {
	return doing("end a session", d.DB.InTx(ctx, func(tx *plantdb.DB) error {
		res := tx.SQL(ctx).Exec("UPDATE sessions SET ended_at = ? WHERE id = ? AND person_id = ? AND ended_at IS NULL", at, id, personID)
		if res.Error == nil && res.RowsAffected == 0 {
			return assets.ErrNotFound
		}
		return res.Error
	}))
}

// EndSessions ends every session of a person but one (0: all of them). by is who ends them: somebody else's deed is
// journalled.
func (d *Door) EndSessions(ctx context.Context, by, personID, except int64) error {
	if by == personID {
		return doing("end sessions", d.DB.InTx(ctx, func(tx *plantdb.DB) error {
			return endSessions(ctx, tx, personID, except, assets.InstantOf(d.Now()))
		}))
	}
	return d.change(ctx, by, "end all sessions of a person", func(c *plantdb.Change, ch *plantdb.Chain) error {
		c.Note(ch, plantdb.Written{Table: "sessions", ID: personID, After: map[string]any{"person_id": personID, "ended": "all"}})
		return endSessions(ctx, c.DB, personID, except, c.Now())
	})
}

func endSessions(ctx context.Context, tx *plantdb.DB, personID, except int64, at assets.Instant) error {
	return tx.SQL(ctx).Exec("UPDATE sessions SET ended_at = ? WHERE person_id = ? AND id <> ? AND ended_at IS NULL", at, personID, except).Error
}
