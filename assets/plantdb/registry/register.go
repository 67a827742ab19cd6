package registry

import (
	"context"
	"errors"

	"carryside/assets"
	"carryside/assets/plantdb"

	"gorm.io/gorm"
)

// PlantAsOf returns one plant's register: its lines, the conveyors in use, the belts on them and the
// splices running, at the moment asked for. A handful of queries, whatever its size.
func PlantAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) (*assets.Register, error) {
	return loadRegister(ctx, db, scope, plantID, asOf, living(asOf), columns{})
}

// AgesAsOf returns of PlantAsOf's register what tells splices' ages and their places, and nothing else: no pulleys,
// so that no flexes can be counted, no sizes, remarks or words as typed, no catalogue but the families of belts and the limits of their covers. A
// report of every plant there is reads half as much with it.
func AgesAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) (*assets.Register, error) {
	return loadRegister(ctx, db, scope, plantID, asOf, living(asOf), ageColumns)
}

// columns are those read of each table; "" for all.
type columns struct{ conveyors, belts, splices, specifications string }

var ageColumns = columns{
	conveyors:      "id, valid_from, plant_id, line_id, tag, tag_key, position, speed_mps, wash_down, outdoor, abrasive, product_c, stop_cost_per_hour, status",
	belts:          "id, valid_from, plant_id, conveyor_id, specification_id, loop_length_m, fitted_at, fitted_earliest, fitted_latest, fitted_as_written, fitted_timed, removed",
	splices:        "id, valid_from, plant_id, conveyor_id, belt_id, number, form, bond, made_at, made_earliest, made_latest, made_as_written, made_timed, made_by_id, ended",
	specifications: `id, family, "values"`,
}

// PlantHistoryAsOf returns the same with belts and splices that ended at or after since (0: all that ever
// were) and with retired conveyors.
func PlantHistoryAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, since assets.Instant) (*assets.Register, error) {
	return loadRegister(ctx, db, scope, plantID, asOf, ended(asOf, since), columns{})
}

// LivesAsOf returns of PlantHistoryAsOf's register what tells how long every splice there ever was lived, and nothing else, as
// AgesAsOf does.
func LivesAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) (*assets.Register, error) {
	of := ageColumns
	of.splices += ", retired_at, retired_earliest, retired_latest, retired_as_written, retired_timed, retired_why, failure_mode, retired_order_id"
	return loadRegister(ctx, db, scope, plantID, asOf, ended(asOf, 1), of)
}

// lives narrows each table to the things whose life meets what is asked.
type lives struct {
	conveyors, belts, splices string
	args                      []any
}

func living(asOf plantdb.AsOf) lives {
	if asOf.Valid == 0 {
		return lives{conveyors: "status <> 'retired'", belts: "removed IS NULL", splices: "ended IS NULL"}
	}
	return lives{
		conveyors: "status <> 'retired'",
		belts:     "fitted_at <= ? AND (removed IS NULL OR removed > ?)",
		splices:   "made_at <= ? AND (ended IS NULL OR ended > ?)",
		args:      []any{asOf.Valid, asOf.Valid},
	}
}

func ended(asOf plantdb.AsOf, since assets.Instant) lives {
	return lives{
		conveyors: "1 = 1",
		belts:     "fitted_at <= ? AND (removed IS NULL OR removed >= ?)",
		splices:   "made_at <= ? AND (ended IS NULL OR ended >= ?)",
		args:      []any{latest(asOf.Valid), since},
	}
}

func loadRegister(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, l lives, of columns) (*assets.Register, error) {
	r := &assets.Register{At: asOf.Valid}
	err := db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		if err := loadOwners(ctx, tx, scope, plantID, asOf, r); err != nil {
			return err
		}
		read := func(columns string) *gorm.DB {
			return some(tx.SQL(ctx), columns).Scopes(asOf.Rows).Where("plant_id = ?", plantID)
		}
		var errs [7]error
		r.Lines, errs[0] = list[assets.Line](read(""))
		r.Conveyors, errs[1] = list[assets.Conveyor](read(of.conveyors).Where(l.conveyors))
		r.Belts, errs[2] = list[assets.Belt](read(of.belts).Where(l.belts, l.args...))
		r.Splices, errs[3] = list[assets.Splice](read(of.splices).Where(l.splices, l.args...))
		r.Specifications, errs[4] = list[assets.Specification](some(specifications(tx.SQL(ctx), asOf), of.specifications))
		if of == (columns{}) {
			r.SpliceKinds, errs[5] = SpliceKinds(ctx, tx, asOf)
		}
		errs[6] = nameRegister(ctx, tx, r)
		return errors.Join(errs[:]...)
	})
	if err != nil {
		return nil, err
	}
	r.Arrange()
	return r, nil
}

// some keeps a query to some columns; "" is all of them.
func some(tx *gorm.DB, columns string) *gorm.DB {
	if columns == "" {
		return tx
	}
	return tx.Select(columns)
}

// loadOwners reads the plant, its customer and the company. A plant out of scope is not found.
func loadOwners(ctx context.Context, tx *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, r *assets.Register) (err error) {
	r.Plant, err = one[assets.Plant](tx.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "id")).Where("id = ?", plantID))
	if err != nil {
		return err
	}
	r.Customer, err = one[assets.Customer](tx.SQL(ctx).Scopes(asOf.OfCompany().Rows).Where("id = ?", r.Plant.CustomerID))
	if err != nil && !errors.Is(err, assets.ErrNotFound) {
		return err
	}
	r.Company, err = Company(ctx, tx, asOf)
	if errors.Is(err, assets.ErrNotFound) {
		return nil
	}
	return err
}

// nameRegister fills in the names of everybody the belts and splices name.
func nameRegister(ctx context.Context, tx *plantdb.DB, r *assets.Register) (err error) {
	ids := make([]int64, 0, len(r.Belts)+len(r.Splices))
	for _, b := range r.Belts {
		ids = append(ids, b.FittedByID)
	}
	for _, s := range r.Splices {
		ids = append(ids, s.MadeByID)
	}
	if r.People, err = Names(ctx, tx, ids); err != nil {
		return err
	}
	for i := range r.Belts {
		r.Belts[i].FittedBy = r.People[r.Belts[i].FittedByID]
	}
	for i := range r.Splices {
		r.Splices[i].MadeBy = r.People[r.Splices[i].MadeByID]
	}
	return nil
}

// Stretches returns the earlier stretches of a plant's conveyors and belts: rows that were so until something
// changed (speed, pulleys, loop length), by thing and in order of time. With the rows of the register, which
// hold now, they tell how fast splices passed at any time. Two queries; few things have any.
func Stretches(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) (conveyors map[int64][]assets.Conveyor, belts map[int64][]assets.Belt, err error) {
	if conveyors, err = stretches(ctx, db, scope, plantID, asOf, func(c assets.Conveyor) int64 { return c.ID }); err != nil {
		return nil, nil, err
	}
	belts, err = stretches(ctx, db, scope, plantID, asOf, func(b assets.Belt) int64 { return b.ID })
	return conveyors, belts, err
}

func stretches[T any](ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, id func(T) int64) (map[int64][]T, error) {
	tx := db.SQL(ctx).Scopes(asOf.KnownRows, plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND valid_to IS NOT NULL", plantID).Order("valid_from, id")
	if asOf.Valid != 0 {
		tx = tx.Where("valid_from <= ?", asOf.Valid)
	}
	rows, err := list[T](tx)
	of := map[int64][]T{}
	for _, r := range rows {
		of[id(r)] = append(of[id(r)], r)
	}
	return of, err
}
