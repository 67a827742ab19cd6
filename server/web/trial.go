package web

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/reports/workbook"
)

// This file is a list being brought in: read, worked out as a trial and, when a person says so, written. It
// goes on beside the requests, so that the page may be left; everything of it is in memory, and nothing
// touches the register before the writing, which is one change.

// trialState is how far a trial is.
type trialState int

const (
	trialRunning trialState = iota // being read and judged
	trialReady                     // judged; the records are untouched
	trialWriting                   // being written
	trialWritten                   // brought in
	trialFailed                    // it could not be read or written; why stands in err
	trialStopped                   // a person stopped it
)

// trial is one list on its way in.
type trial struct {
	mu       sync.Mutex
	id       string
	plantID  int64
	personID int64
	name     string
	data     []byte // until it is read
	opt      intake.Options
	book     *intake.Book
	out      *intake.Outcome
	changes  *intake.Changes
	state    trialState
	err      error
	done     int
	total    int
	began    time.Time
	touched  time.Time
	stop     context.CancelFunc
	leftOut  int // refused rows left out when it was written
}

// trials is the lists on their way in at one server. Old ones go after an hour, the oldest first when there
// are too many.
type trials struct {
	mu   sync.Mutex
	list []*trial
}

const (
	trialKept    = time.Hour
	mostTrials   = 12
	mostWorkedOn = 3 // at one time: each may hold a file of 64 MB
)

var errTooManyTrials = errors.New("three lists are being worked out already; wait until one of them is done")

// add takes a trial in and starts it.
func (ts *trials) add(t *trial, now time.Time) error {
	ts.mu.Lock()
	defer ts.mu.Unlock()
	ts.list = slices.DeleteFunc(ts.list, func(o *trial) bool { return !o.busy() && now.Sub(o.lastTouched()) > trialKept })
	busy := 0
	for _, o := range ts.list {
		if o.busy() {
			busy++
		}
	}
	if busy >= mostWorkedOn {
		return errTooManyTrials
	}
	if len(ts.list) >= mostTrials {
		if i := slices.IndexFunc(ts.list, func(o *trial) bool { return !o.busy() }); i >= 0 {
			ts.list = slices.Delete(ts.list, i, i+1)
		}
	}
	ts.list = append(ts.list, t)
	return nil
}

// find returns a person's own trial at a plant.
func (ts *trials) find(id string, plantID, personID int64) *trial {
	ts.mu.Lock()
	defer ts.mu.Unlock()
	for _, t := range ts.list {
		if t.id == id && t.plantID == plantID && t.personID == personID {
			return t
		}
	}
	return nil
}

func (t *trial) busy() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.state == trialRunning || t.state == trialWriting
}

func (t *trial) lastTouched() time.Time {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.touched
}

// start runs a step of a trial beside the requests.
func (t *trial) start(state trialState, now time.Time, step func(ctx context.Context) error) {
	ctx, stop := context.WithCancel(context.Background())
	t.mu.Lock()
	t.state, t.err, t.stop, t.began, t.touched, t.done, t.total = state, nil, stop, now, now, 0, 0
	t.mu.Unlock()
	go func() {
		defer stop()
		t.ended(t.guarded(ctx, step), state)
	}()
}

// guarded turns a panic of the step, which is always our own mistake, into an error: the server goes on.
func (t *trial) guarded(ctx context.Context, step func(ctx context.Context) error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: %v", errTrialBroke, p)
		}
	}()
	return step(ctx)
}

// errTrialBroke is our own mistake met while working on a list.
var errTrialBroke = errors.New("working on the list broke off")

func (t *trial) ended(err error, state trialState) {
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case errors.Is(err, context.Canceled):
		t.state = trialStopped
	case err != nil:
		t.state, t.err = trialFailed, err
	case state == trialWriting:
		t.state, t.book, t.changes = trialWritten, nil, nil // what was read is not needed again
	default:
		t.state = trialReady
	}
}

// judge reads the file, once, and works out what it would do.
func (t *trial) judge(ctx context.Context, reg intake.Registry) error {
	t.mu.Lock()
	book, opt, data, name := t.book, t.opt, t.data, t.name
	t.mu.Unlock()
	if book == nil {
		var err error
		if book, err = readList(ctx, name, data, opt.Mapping); err != nil {
			return err
		}
	}
	opt.DryRun = true
	opt.Progress = func(done, total int) {
		t.mu.Lock()
		defer t.mu.Unlock()
		t.done, t.total = done, total
	}
	out, changes, err := intake.Judge(ctx, book, reg, opt)
	if err != nil {
		return err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.book, t.data, t.out, t.changes = book, nil, out, changes
	return nil
}

// readList reads a file as what it is by its name; what it is by its content is told by the readers.
func readList(ctx context.Context, name string, data []byte, mapping *intake.Mapping) (*intake.Book, error) {
	if workbook.IsWorkbook(name) {
		return workbook.Read(ctx, name, data)
	}
	if kind := workbook.KnownByContent(data); kind != "" {
		return nil, fmt.Errorf("%s is %s and not a CSV; name it by what it is, or save it as .xlsx", name, kind)
	}
	var opt intake.CSVOptions
	if mapping != nil {
		opt.Separator, opt.Encoding = mapping.Separator, mapping.Encoding
	}
	return intake.ReadCSV(name, data, opt)
}

// seen is a trial as of one moment, for a page.
type seenTrial struct {
	State       trialState
	Name        string
	Err         error
	Done, Total int
	Began       time.Time
	Opt         intake.Options
	Out         *intake.Outcome
	Changes     *intake.Changes
	LeftOut     int
}

func (t *trial) seen(now time.Time) seenTrial {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.touched = now
	return seenTrial{State: t.state, Name: t.name, Err: t.err, Done: t.done, Total: t.total, Began: t.began, Opt: t.opt, Out: t.out, Changes: t.changes, LeftOut: t.leftOut}
}

// cancel stops what runs. What is being written is undone by the database.
func (t *trial) cancel() {
	t.mu.Lock()
	stop := t.stop
	t.mu.Unlock()
	if stop != nil {
		stop()
	}
}

// nothingIn tells that no table was found.
func nothingIn(out *intake.Outcome) bool { return len(out.Records)+len(out.Refused)+len(out.Held) == 0 }

// mayTouch tells whether whoever asks may bring lists in at every plant a list touches; otherwise it names
// the first that is not theirs.
func (s *Site) mayTouch(r *Request, changes *intake.Changes) error {
	for _, p := range changes.Plants {
		if p.ID == r.PlantID() {
			continue
		}
		if p.ID == 0 {
			if !r.mayEverywhere() {
				return assets.Invalid{"": "the list names the plant " + p.Name + ", which is not there yet; adding it takes a grant for all plants. Leave its rows out or correct the name"}
			}
			continue
		}
		frame, err := s.Plants.PlantFrame(r.Context(), r.Scope, p.ID)
		if err != nil || !r.Who.May(r.route.May, frame.Plant.CustomerID, p.ID) {
			return assets.Invalid{"": "the list has rows of " + p.Name + ", where you may not bring lists in; leave them out"}
		}
	}
	return nil
}

// mayEverywhere tells whether a grant for all plants allows the deed of the route.
func (r *Request) mayEverywhere() bool {
	return r.Who.May(r.route.May, -1, -1)
}
