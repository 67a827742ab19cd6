package worksheets

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/jobsheet"
	"carryside/schedule/round"
	"carryside/schedule/workorder"
)

// Sheet is a job sheet with what was noted on it.
type Sheet struct {
	assets.JobSheet
	Entries []assets.JobEntry // in the order in which they were noted, wherever that was
}

// Of returns the sheet of an order and its entries; false when none was opened yet.
func Of(ctx context.Context, db *plantdb.DB, scope assets.Scope, orderID int64) (Sheet, bool, error) {
	rows, err := plantdb.Rows[assets.JobSheet](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("order_id = ?", orderID))
	if err != nil || len(rows) == 0 {
		return Sheet{}, false, err
	}
	entries, err := plantdb.Rows[assets.JobEntry](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("order_id = ?", orderID).Order("id"))
	slices.SortStableFunc(entries, func(a, b assets.JobEntry) int { return cmp.Compare(a.NotedAt(), b.NotedAt()) })
	return Sheet{rows[0], entries}, true, err
}

// Open writes the sheet of an order with the steps of a template, or returns the one there is.
func Open(c *plantdb.Change, o workorder.Order, form assets.Form, bond assets.Bond) (assets.JobSheet, error) {
	rows, err := plantdb.Rows[assets.JobSheet](c.Tx().Scopes(plantdb.AsOf{}.Rows).Where("order_id = ? AND plant_id = ?", o.ID, o.PlantID))
	if err != nil {
		return assets.JobSheet{}, err
	}
	if len(rows) > 0 {
		return rows[0], nil
	}
	t, err := For(c.Context(), c.DB, o.Kind, form, bond)
	if err != nil {
		return assets.JobSheet{}, err
	}
	ch, err := c.PlantChain(o.PlantID)
	if err != nil {
		return assets.JobSheet{}, err
	}
	s := assets.JobSheet{Version: assets.Version{ValidFrom: c.Now()}, PlantID: o.PlantID, OrderID: o.ID, TemplateID: t.ID, Edition: t.Edition, Steps: t.Steps}
	return s, plantdb.Create(c, ch, &s)
}

// HeadClock is by which clock isolation point and permit were noted on a device.
type HeadClock struct {
	DeviceID     int64
	DeviceAt     assets.Instant // by the device's clock
	OffsetUS     *int64         // device's clock less the program's at the last contact before; nil: there was none
	SentOffsetUS int64          // the same when they were sent
	ClientID     string         // made on the device
}

// program is when they were noted, by the program's clock.
func (h HeadClock) program(arrived assets.Instant) assets.Instant {
	clocks := round.Clocks{Phone: h.DeviceAt.Time(), SentOffset: time.Duration(h.SentOffsetUS) * time.Microsecond, Arrived: arrived.Time()}
	if h.OffsetUS != nil {
		off := time.Duration(*h.OffsetUS) * time.Microsecond
		clocks.Offset = &off
	}
	return assets.InstantOf(clocks.Program())
}

// headNotedAt is when the isolation point and permit that a sheet holds were noted, by the program's clock; 0 where it holds none.
func headNotedAt(s assets.JobSheet) assets.Instant {
	switch {
	case s.Isolation == "" && s.Permit == "":
		return 0
	case s.HeadDeviceAt == nil || s.HeadArrivedAt == nil || s.HeadSentOffsetUS == nil:
		return s.ValidFrom
	}
	return HeadClock{DeviceAt: *s.HeadDeviceAt, OffsetUS: s.HeadOffsetUS, SentOffsetUS: *s.HeadSentOffsetUS}.program(*s.HeadArrivedAt)
}

// TakeHead writes isolation point and permit of a sheet as they came in from a device. What was noted before those that the sheet holds, and arrives
// after them, replaces nothing: it is kept as an entry, once. again tells that it had come in before.
func TakeHead(c *plantdb.Change, s assets.JobSheet, isolation, permit string, from HeadClock) (again bool, err error) {
	var had int64
	if err := c.Tx().Raw("SELECT count(*) FROM job_sheets WHERE order_id = ? AND plant_id = ? AND head_device_id = ? AND head_device_at = ?", s.OrderID, s.PlantID, from.DeviceID, from.DeviceAt).Scan(&had).Error; err != nil || had > 0 {
		return had > 0, err
	}
	noted := from.program(c.Now())
	if noted >= headNotedAt(s) {
		return false, SetHead(c, s, isolation, permit, &from)
	}
	says := fmt.Sprintf("isolation point %s; permit %s", cmp.Or(strings.TrimSpace(isolation), "none"), cmp.Or(strings.TrimSpace(permit), "none"))
	return add(c, s, &assets.JobEntry{StepKey: assets.HeadStep, State: jobsheet.Done, Note: says, At: noted, ClientID: from.ClientID, DeviceID: &from.DeviceID, DeviceAt: &from.DeviceAt,
		OffsetUS: from.OffsetUS, SentOffsetUS: &from.SentOffsetUS}, numbered)
}

// SetHead writes isolation point and permit of a sheet; from is nil where they were noted on a screen.
func SetHead(c *plantdb.Change, s assets.JobSheet, isolation, permit string, from *HeadClock) error {
	ch, err := c.PlantChain(s.PlantID)
	if err != nil {
		return err
	}
	s.Isolation, s.Permit = strings.TrimSpace(isolation), strings.TrimSpace(permit)
	s.HeadDeviceID, s.HeadDeviceAt, s.HeadOffsetUS, s.HeadSentOffsetUS, s.HeadArrivedAt = nil, nil, nil, nil, nil
	if from != nil {
		now := c.Now()
		s.HeadDeviceID, s.HeadDeviceAt, s.HeadOffsetUS, s.HeadSentOffsetUS, s.HeadArrivedAt = &from.DeviceID, &from.DeviceAt, from.OffsetUS, &from.SentOffsetUS, &now
	}
	return plantdb.Amend(c, ch, &s, c.Now())
}

// Note adds what was noted at a step. Sent again under the same ClientID it is taken once; again tells so. assets.Invalid says what is wrong.
func Note(c *plantdb.Change, s assets.JobSheet, e *assets.JobEntry) (again bool, err error) {
	return add(c, s, e, checkEntry)
}

// add adds an entry that a check lets pass, once by its ClientID.
func add(c *plantdb.Change, s assets.JobSheet, e *assets.JobEntry, check func(*plantdb.Change, assets.JobSheet, *assets.JobEntry) error) (again bool, err error) {
	e.PlantID, e.OrderID, e.PersonID = s.PlantID, s.OrderID, c.Act.PersonID
	var there []assets.JobEntry
	if err := c.Tx().Where("plant_id = ? AND client_id = ?", e.PlantID, e.ClientID).Find(&there).Error; err != nil {
		return false, err
	}
	if len(there) > 0 {
		*e = there[0]
		return true, nil
	}
	if err := check(c, s, e); err != nil {
		return false, err
	}
	ch, err := c.PlantChain(s.PlantID)
	if err != nil {
		return false, err
	}
	if e.ID, err = c.NewIDs(ch, "job_entries", 1); err != nil {
		return false, err
	}
	e.EnteredAt, e.KnownFrom = c.Now(), ch.Position
	return false, plantdb.Insert(c, ch, e.ID, e)
}

func checkEntry(c *plantdb.Change, s assets.JobSheet, e *assets.JobEntry) error {
	bad := assets.Invalid{}
	i := slices.IndexFunc(s.Steps, func(x assets.JobStep) bool { return x.Key == e.StepKey })
	if i < 0 {
		bad.Add("step", "this sheet has no such step; open it again")
		return bad
	}
	step := s.Steps[i]
	if !slices.Contains(jobsheet.States, e.State) {
		bad.Add("state", "say whether it is done, failed or not applicable")
	}
	if step.Measure != "" && e.State == jobsheet.Done && e.Value == nil {
		bad.Add("value", fmt.Sprintf("give the measured value: %s", step.Measure))
	}
	if e.Value != nil {
		if wrong := jobsheet.Mistyped(step.Unit, *e.Value); wrong != "" {
			bad.Add("value", wrong)
		}
	}
	if e.DeviceID == nil && e.At < assets.InstantOf(c.Now().Time().AddDate(-1, 0, 0)) { // a device's clock may be anything; what it sent is not lost
		bad.Add("at", "this lies more than a year back; check the year")
	}
	if e.State != jobsheet.Done && strings.TrimSpace(e.Note) == "" {
		bad.Add("note", "say why it is "+e.State)
	}
	if e.At > c.Now() {
		bad.Add("at", "this lies in the future; give when it was done")
	}
	if err := numbered(c, s, e); err != nil {
		return err
	}
	return bad.Err()
}

// numbered refuses an entry without a number of its device's.
func numbered(_ *plantdb.Change, _ assets.JobSheet, e *assets.JobEntry) error {
	if e.ClientID == "" || len(e.ClientID) > 64 {
		return assets.Invalid{"": "the form has lost its number; open the sheet again"}
	}
	return nil
}
