package worksheets

import (
	"context"
	"fmt"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// KeepSignature keeps a signature as it came in, waiting. Sent again under the same ClientID it is kept once; again tells so, and g then holds
// what is kept.
func KeepSignature(c *plantdb.Change, g *assets.JobSignature) (again bool, err error) {
	if g.ClientID == "" || len(g.ClientID) > 64 {
		return false, assets.Invalid{"": "this signature has lost its number; open the sheet again and sign once more"}
	}
	there, err := plantdb.Rows[assets.JobSignature](c.Tx().Where("plant_id = ? AND client_id = ?", g.PlantID, g.ClientID))
	if err != nil {
		return false, err
	}
	if len(there) > 0 {
		*g = there[0]
		return true, nil
	}
	ch, err := c.PlantChain(g.PlantID)
	if err != nil {
		return false, err
	}
	if g.ID, err = c.NewIDs(ch, "job_signatures", 1); err != nil {
		return false, err
	}
	g.SentBy, g.ArrivedAt, g.State, g.KnownFrom = c.Act.PersonID, c.Now(), assets.SignatureWaits, ch.Position
	return false, plantdb.Insert(c, ch, g.ID, g)
}

// SettleSignature says what became of a signature that waits: taken, waiting on for a reason, or refused. by is the lead who decided; 0:
// nobody had to.
func SettleSignature(c *plantdb.Change, g assets.JobSignature, state, why string, by int64, said string) error {
	ch, err := c.PlantChain(g.PlantID)
	if err != nil {
		return err
	}
	var at *assets.Instant
	if by != 0 {
		now := c.Now()
		at = &now
	}
	res := c.Tx().Exec("UPDATE job_signatures SET state = ?, why = ?, decided_by = ?, decided_at = ?, decided_why = ? WHERE id = ? AND plant_id = ? AND state = ?",
		state, why, by, at, strings.TrimSpace(said), g.ID, g.PlantID, assets.SignatureWaits)
	if res.Error == nil && res.RowsAffected == 0 {
		return fmt.Errorf("signature %d: %w", g.ID, assets.ErrConflict)
	}
	if res.Error != nil {
		return res.Error
	}
	c.Wrote(ch, "job_signatures", g.ID)
	c.Note(ch, plantdb.Written{Table: "job_signatures", ID: g.ID, After: map[string]any{"state": state, "why": why, "decided_by": by, "decided_why": said}})
	return nil
}

// Signature returns a signature of a plant.
func Signature(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID, id int64) (assets.JobSignature, error) {
	rows, err := plantdb.Rows[assets.JobSignature](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND id = ?", plantID, id))
	if err == nil && len(rows) == 0 {
		err = fmt.Errorf("signature %d: %w", id, assets.ErrNotFound)
	}
	if err != nil {
		return assets.JobSignature{}, err
	}
	return rows[0], nil
}

// Waiting lists the signatures of a plant that a lead must decide on, the oldest first.
func Waiting(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]assets.JobSignature, error) {
	return plantdb.Rows[assets.JobSignature](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND state = ?", plantID, assets.SignatureWaits).Order("id"))
}

// SignaturesOf lists the signatures that came in for an order, in the order in which they came.
func SignaturesOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, orderID int64) ([]assets.JobSignature, error) {
	return plantdb.Rows[assets.JobSignature](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("order_id = ?", orderID).Order("id"))
}
