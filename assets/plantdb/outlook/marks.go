package outlook

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/rules"
)

// Mark is how far the journals reach through which everything a plant's rules rest on is written: its
// customer's and the company's.
type Mark struct {
	PlantID  int64
	Customer int64
	Company  int64
}

// Marks returns the marks of all plants. A plant whose mark stands still has not changed.
func Marks(ctx context.Context, db *plantdb.DB) ([]Mark, error) {
	company, err := db.CompanyPosition(ctx)
	if err != nil {
		return nil, err
	}
	var marks []Mark
	err = db.SQL(ctx).Raw(`SELECT p.id AS plant_id, c.head_position AS customer FROM plants p JOIN chains c ON c.customer_id = p.customer_id
		WHERE p.known_to IS NULL AND p.valid_to IS NULL ORDER BY p.id`).Scan(&marks).Error
	for i := range marks {
		marks[i].Company = company
	}
	return marks, err
}

// Answer points findings to the orders that rules raised for them, in the change that raised them: a finding of
// grade 3 or more ends in an order or in a signed refusal, and whoever looks at it sees which.
func Answer(c *plantdb.Change, proposals []rules.Proposal) error {
	for _, p := range proposals {
		if p.Target.FindingID == 0 || p.Reminder() {
			continue
		}
		var order int64
		err := c.Tx().Raw(`SELECT order_id FROM occurrences WHERE rule_id = ? AND target_kind = ? AND target_id = ? AND cycle = ? AND withdrawal_no = ?`,
			p.Rule.ID, p.Target.Kind, p.Target.ID, p.Cycle, p.WithdrawalNo).Scan(&order).Error
		if err != nil {
			return err
		}
		if order == 0 || order == p.Target.FollowUpOrderID {
			continue
		}
		if err := registry.FollowUp(c, p.Target.FindingID, order); err != nil {
			return err
		}
	}
	return nil
}

// DropEmptyRuns deletes the runs of a job before an instant that ended well and raised nothing. They are no
// facts of a plant, and one a minute would outgrow what is.
func DropEmptyRuns(ctx context.Context, db *plantdb.DB, job string, before assets.Instant) error {
	return db.InTx(ctx, func(tx *plantdb.DB) error {
		return tx.SQL(ctx).Exec(`DELETE FROM job_runs WHERE job = ? AND due_at < ? AND ended_at <> 0 AND raised = 0 AND joined = 0 AND reminders = 0 AND error = ''`,
			job, before).Error
	})
}
