package tokens

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Token is a token as it is kept. Its rows end and are never altered.
type Token struct {
	ID         int64 `gorm:"primaryKey;autoIncrement:false"`
	PersonID   int64 // whose grants it has
	Name       string
	Hash       string // SHA-256 of the token, hexadecimal
	Tail       string // its last letters, to tell it from others
	May        string
	CustomerID int64 // 0: every customer of the grants
	PlantID    int64 // 0: every plant of the grants
	MadeAt     assets.Instant
	ExpiresAt  assets.Instant
	KnownFrom  int64
	KnownTo    *int64 // nil: in force until it expires
}

// TableName is "api_tokens".
func (Token) TableName() string { return "api_tokens" }

// Words of what a token may.
const (
	MayRead         = "read"
	MayReadAndEnter = "read and readings"
	MayReadMetrics  = "metrics"
	beginning       = "carryside_" // so that a scanner for lost secrets knows one
	tailLetters     = 4
	longest         = 366 * 24 * time.Hour
	mostOfOnePerson = 50
	mostNameLetters = 80
	rememberedFor   = 7 * 24 * time.Hour
	usedIsKeptTo    = time.Minute
)

// NewSecret makes a token: 130 random bits behind a beginning of our own.
func NewSecret() string { return beginning + rand.Text() }

// HashOf returns what is kept of a token.
func HashOf(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// Make keeps a new token of a person and returns it: it is shown once. The act must declare the company.
// assets.Invalid names what is missing; the expiry must lie within a year.
func Make(c *plantdb.Change, t *Token) (secret string, err error) {
	if err := check(c, t); err != nil {
		return "", err
	}
	ch, err := c.Chain(0)
	if err != nil {
		return "", err
	}
	t.ID = c.Scattered()
	secret = NewSecret()
	t.Hash, t.Tail = HashOf(secret), secret[len(secret)-tailLetters:]
	t.MadeAt, t.KnownFrom, t.KnownTo = c.Now(), ch.Position, nil
	if err := c.Tx().Create(t).Error; err != nil {
		return "", fmt.Errorf("keep the token: %w", err)
	}
	c.Wrote(ch, "api_tokens", t.ID)
	c.Note(ch, plantdb.Written{Table: "api_tokens", ID: t.ID, After: map[string]any{"person_id": t.PersonID, "name": t.Name, "may": t.May,
		"customer_id": t.CustomerID, "plant_id": t.PlantID, "expires_at": t.ExpiresAt}})
	return secret, nil
}

func check(c *plantdb.Change, t *Token) error {
	bad := assets.Invalid{}
	t.Name = strings.Join(strings.Fields(t.Name), " ")
	switch {
	case t.Name == "":
		bad.Add("name", "say what the token is for, such as the program that will show it")
	case len([]rune(t.Name)) > mostNameLetters:
		bad.Add("name", fmt.Sprintf("use %d letters or fewer", mostNameLetters))
	}
	if t.May != MayRead && t.May != MayReadAndEnter && t.May != MayReadMetrics {
		bad.Add("may", "choose what the token may from the list")
	}
	switch now := c.Now().Time(); {
	case !t.ExpiresAt.Time().After(now):
		bad.Add("expires", "give a day to come; a token without an end is not made")
	case t.ExpiresAt.Time().Sub(now) > longest:
		bad.Add("expires", "give a day within a year from today")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	var n int64
	if err := c.Tx().Raw("SELECT count(*) FROM api_tokens WHERE person_id = ? AND known_to IS NULL", t.PersonID).Scan(&n).Error; err != nil {
		return err
	}
	if n >= mostOfOnePerson {
		return assets.Invalid{"": fmt.Sprintf("you have %d tokens already; end those that no program shows any more", mostOfOnePerson)}
	}
	return nil
}

// End ends a token of a person: it opens nothing from now on. The act must declare the company. assets.ErrNotFound
// when the person has no such token in force.
func End(c *plantdb.Change, personID, id int64) error {
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	res := c.Tx().Exec("UPDATE api_tokens SET known_to = ? WHERE id = ? AND person_id = ? AND known_to IS NULL", ch.Position, id, personID)
	if res.Error != nil {
		return res.Error
	}
	if res.RowsAffected == 0 {
		return fmt.Errorf("token %d: %w", id, assets.ErrNotFound)
	}
	c.Ended(ch, "api_tokens", id)
	c.Note(ch, plantdb.Written{Table: "api_tokens", ID: id, Before: map[string]any{"person_id": personID}})
	return nil
}

// Used is a token with when it was shown last, 0 when never.
type Used struct {
	Token
	UsedAt assets.Instant
}

// Of lists the tokens of a person that nobody ended, the newest first; those that have expired too.
func Of(ctx context.Context, db *plantdb.DB, personID int64) ([]Used, error) {
	var rows []Used
	err := db.SQL(ctx).Raw(`SELECT t.*, coalesce(u.used_at, 0) AS used_at FROM api_tokens t LEFT JOIN api_token_uses u ON u.token_id = t.id
		WHERE t.person_id = ? AND t.known_to IS NULL ORDER BY t.made_at DESC, t.id`, personID).Scan(&rows).Error
	return rows, err
}

// Shown returns the token in force that a secret is, expired or not. assets.ErrNotFound when it is none: nobody ended
// it, nor its person's account since it was made, and the person was not erased. A new account revives none.
func Shown(ctx context.Context, db *plantdb.DB, secret string) (Token, error) {
	if !strings.HasPrefix(secret, beginning) {
		return Token{}, assets.ErrNotFound
	}
	var rows []Token
	err := db.SQL(ctx).Raw(`SELECT t.* FROM api_tokens t WHERE t.hash = ? AND t.known_to IS NULL
		AND NOT EXISTS (SELECT 1 FROM accounts a WHERE a.person_id = t.person_id AND a.known_to > t.known_from)
		AND NOT EXISTS (SELECT 1 FROM people p WHERE p.id = t.person_id AND p.private_hash = ?)`, HashOf(secret), plantdb.Erased).Scan(&rows).Error
	if err == nil && len(rows) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return Token{}, err
	}
	return rows[0], nil
}

// NoteUse keeps when a token was shown last, once a minute: a program that reads all day must not make the
// database write all day.
func NoteUse(ctx context.Context, db *plantdb.DB, tokenID int64, at assets.Instant) error {
	var last assets.Instant
	if err := db.SQL(ctx).Raw("SELECT coalesce(max(used_at), 0) FROM api_token_uses WHERE token_id = ?", tokenID).Scan(&last).Error; err != nil {
		return err
	}
	if at.Time().Sub(last.Time()) < usedIsKeptTo {
		return nil
	}
	return db.InTx(ctx, func(tx *plantdb.DB) error {
		return tx.SQL(ctx).Exec(`INSERT INTO api_token_uses (token_id, used_at) VALUES (?, ?)
			ON CONFLICT (token_id) DO UPDATE SET used_at = excluded.used_at WHERE excluded.used_at > api_token_uses.used_at`, tokenID, at).Error
	})
}
