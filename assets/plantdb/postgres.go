package plantdb

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"carryside/migrations"

	"github.com/jackc/pgx/v5/stdlib"
	"gorm.io/driver/postgres"
	"gorm.io/gorm"
)

// openPostgres opens a pool that writes and one whose sessions are read-only.
func openPostgres(ctx context.Context, cfg Config) (*DB, error) {
	session := sessionPrefix + newSalt()[:8]
	writer, err := postgresPool(cfg.DSN, session, false)
	if err != nil {
		return nil, err
	}
	reader, err := postgresPool(cfg.DSN, session, true)
	if err != nil {
		return nil, errors.Join(err, writer.Close())
	}
	writer.SetMaxOpenConns(max(2, cfg.Readers))
	reader.SetMaxOpenConns(cfg.Readers)
	db := &DB{engine: migrations.PostgreSQL, session: session, pools: []*sql.DB{writer, reader}, shapes: &shapes{}, wrote: &lastWrite{}}
	if cfg.AsItIs {
		err = migrations.Check(ctx, writer, migrations.PostgreSQL)
	} else {
		_, err = migrations.Apply(ctx, writer, migrations.PostgreSQL, "")
	}
	if err != nil {
		return nil, errors.Join(notEncrypted(cfg.DSN, postgresSentence(err)), db.Close())
	}
	if db.write, err = gorm.Open(db.dialect(postgres.New(postgres.Config{Conn: writer})), gormConfig()); err == nil {
		db.read, err = gorm.Open(db.dialect(postgres.New(postgres.Config{Conn: reader})), gormConfig())
	}
	if err != nil {
		return nil, errors.Join(postgresSentence(err), db.Close())
	}
	return db, nil
}

// sessionPrefix begins the name under which an open handle is known to the server; each has its own.
const sessionPrefix = "carryside "

func postgresPool(dsn, session string, readOnly bool) (*sql.DB, error) {
	cfg, _, err := postgresConfig(dsn)
	if err != nil {
		return nil, err
	}
	cfg.RuntimeParams["timezone"] = "UTC"
	cfg.RuntimeParams["application_name"] = session
	if readOnly {
		cfg.RuntimeParams["default_transaction_read_only"] = "on"
	}
	return stdlib.OpenDB(*cfg, stdlib.OptionShouldPing(func(_ context.Context, p stdlib.ShouldPingParams) bool {
		return p.IdleDuration > idleUnasked
	})), nil
}

// idleUnasked is how long a connection may have lain idle and be used without being asked first whether it still stands. A
// server takes longer to start again, and a busy pool does not pay a round trip for each statement.
const idleUnasked = 50 * time.Millisecond

// AloneHere returns ErrInUse when another Carryside is connected to the same PostgreSQL database. A SQLite file is asked
// with Alone.
func (db *DB) AloneHere(ctx context.Context) error {
	if db.engine != migrations.PostgreSQL {
		return nil
	}
	var others int64
	err := db.SQL(ctx).Raw("SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND application_name LIKE ? AND application_name <> ?",
		sessionPrefix+"%", db.session).Scan(&others).Error
	if err == nil && others > 0 {
		err = fmt.Errorf("the PostgreSQL database %w", ErrInUse)
	}
	return err
}
