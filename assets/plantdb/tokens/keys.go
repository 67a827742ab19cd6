package tokens

import (
	"errors"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Answer is what was answered to a request under a key.
type Answer struct {
	TokenID     int64  `gorm:"primaryKey;autoIncrement:false"`
	RequestKey  string `gorm:"primaryKey"`
	RequestHash string // SHA-256 of method, path and body: the same key may not ask for something else
	Status      int64
	Answer      string
	MadeAt      assets.Instant
}

// TableName is "idempotency_keys".
func (Answer) TableName() string { return "idempotency_keys" }

// ErrOtherRequest is a key that was used for another request.
var ErrOtherRequest = errors.New("this key was used for another request")

// Once runs do under a token's key, in the transaction of a change: what do writes and the answer it gives are kept
// together or not at all. The same request under the same key gives the answer that is kept and writes nothing; of
// two that come at once one waits for the other. ErrOtherRequest when the key stands for another request. Answers
// are kept for a week.
func Once(c *plantdb.Change, tokenID int64, key, requestHash string, do func() (status int, answer string, err error)) (Answer, bool, error) {
	if err := forget(c); err != nil {
		return Answer{}, false, err
	}
	a := Answer{TokenID: tokenID, RequestKey: key, RequestHash: requestHash, MadeAt: c.Now()}
	// PostgreSQL waits here for another transaction that has the key; SQLite has one writer anyway.
	res := c.Tx().Exec(`INSERT INTO idempotency_keys (token_id, request_key, request_hash, status, answer, made_at) VALUES (?, ?, ?, 0, '', ?)
		ON CONFLICT (token_id, request_key) DO NOTHING`, a.TokenID, a.RequestKey, a.RequestHash, a.MadeAt)
	if res.Error != nil {
		return a, false, fmt.Errorf("keep the key: %w", res.Error)
	}
	if res.RowsAffected == 0 {
		return again(c, a)
	}
	status, answer, err := do()
	if err != nil {
		return a, false, err
	}
	a.Status, a.Answer = int64(status), answer
	err = c.Tx().Exec("UPDATE idempotency_keys SET status = ?, answer = ? WHERE token_id = ? AND request_key = ?", a.Status, a.Answer, tokenID, key).Error
	return a, false, err
}

// again returns the answer that is kept under a key.
func again(c *plantdb.Change, asked Answer) (Answer, bool, error) {
	var kept []Answer
	err := c.Tx().Where("token_id = ? AND request_key = ?", asked.TokenID, asked.RequestKey).Find(&kept).Error
	switch {
	case err != nil:
		return asked, false, err
	case len(kept) == 0:
		return asked, false, fmt.Errorf("the key was just forgotten; send it again: %w", assets.ErrConflict)
	case kept[0].RequestHash != asked.RequestHash:
		return asked, false, ErrOtherRequest
	}
	return kept[0], true, nil
}

// forget drops answers that are older than a week.
func forget(c *plantdb.Change) error {
	old := assets.InstantOf(c.Now().Time().Add(-rememberedFor))
	return c.Tx().Exec("DELETE FROM idempotency_keys WHERE made_at < ?", old).Error
}
