package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
	"carryside/schedule/clock"
	"carryside/schedule/people"
	"carryside/server/web"
)

const (
	keyHeader   = "Idempotency-Key"
	missingKey  = "required header parameter is missing" // the library's words for it
	mostAtOnce  = 1000
	mostBytes   = 1 << 20
	keyLifetime = "a week"
)

// ErrOtherRequest is a key that stands for another request.
var ErrOtherRequest = errors.New("the key stands for another request")

// Keyed is a request that writes once for each key.
type Keyed struct {
	Key     string `header:"Idempotency-Key" required:"true" minLength:"1" maxLength:"100" pattern:"^[!-~]+$" doc:"made by the client, another for each request and the same one when it is sent again"`
	RawBody []byte
}

// ReadingRead is what a meter showed.
type ReadingRead struct {
	At     time.Time `json:"at" doc:"when it was read, not in the future"`
	ShownH float64   `json:"shown_h" minimum:"0" maximum:"10000000" doc:"hours as the meter shows them"`
	Remark string    `json:"remark,omitempty" maxLength:"500"`
}

// readingOfRound is a reading of a round.
type readingOfRound struct {
	ConveyorID int64  `json:"conveyor_id,omitempty" minimum:"1" doc:"number of the conveyor; this or its tag"`
	Conveyor   string `json:"conveyor,omitempty" maxLength:"100" doc:"tag of the conveyor; this or its number"`
	ReadingRead
}

// enterOne is one reading of a conveyor.
type enterOne struct {
	OfConveyor
	Keyed
	Body ReadingRead
}

// enterRound is readings of several conveyors.
type enterRound struct {
	InPlant
	Keyed
	Body struct {
		Readings []readingOfRound `json:"readings" minItems:"1" maxItems:"1000" nullable:"false"`
	}
}

// entered is what became of readings.
type entered struct {
	Replayed string `header:"Idempotency-Replayed" doc:"true where this is the answer kept of the first time"`
	Body     entryOutcome
}

// entryOutcome is what became of each reading, in their order.
type entryOutcome struct {
	Outcomes []readingOutcome `json:"outcomes" nullable:"false"`
}

// readingOutcome is what became of a reading.
type readingOutcome struct {
	ConveyorID int64     `json:"conveyor_id"`
	At         time.Time `json:"at"`
	ShownH     float64   `json:"shown_h"`
	Outcome    string    `json:"outcome" enum:"kept,known,held" doc:"kept; known already; or held: it contradicts its neighbours and waits for a person"`
	Class      string    `json:"class,omitempty" doc:"why it is held"`
	HeldID     *int64    `json:"held_id,omitempty" doc:"number among the held readings"`
}

func (s *service) entering(a huma.API) {
	huma.Register(a, write("enter-reading", "/plants/{plant}/conveyors/{conveyor}/readings", "Hour meters", "Enter what the hour meter of a conveyor shows", ofReadings), answer(s, s.enterOne))
	huma.Register(a, write("enter-readings", "/plants/{plant}/readings", "Hour meters", "Enter a round: what the hour meters of several conveyors show", ofReadings), answer(s, s.enterRound))
}

const ofReadings = "All readings of a request are taken, or none. One that contradicts its neighbours is held for a person, neither used nor dropped."

// write describes an operation that writes once for each key.
func write(id, path, tag, summary, description string) huma.Operation {
	op := read(id, path, tag, summary, description+
		" The same key with the same request gives the answer kept of the first time, for "+keyLifetime+"; with another request it is refused.")
	op.Method, op.DefaultStatus, op.MaxBodyBytes = http.MethodPost, http.StatusCreated, mostBytes
	op.Errors = append(op.Errors, http.StatusBadRequest, http.StatusConflict, http.StatusRequestEntityTooLarge)
	return op
}

func (s *service) enterOne(ctx context.Context, in *enterOne) (*entered, error) {
	v, c, err := s.conveyorOf(ctx, in.OfConveyor, Then{})
	if err != nil {
		return nil, err
	}
	return s.enter(ctx, v, in.Keyed, []web.ReadingEntered{in.Body.of(c.ID)}, func(int) string { return "body" })
}

func (s *service) enterRound(ctx context.Context, in *enterRound) (*entered, error) {
	v, err := s.look(ctx, in.Plant, Then{})
	if err != nil {
		return nil, err
	}
	place := func(i int) string { return fmt.Sprintf("body.readings[%d]", i) }
	bad := assets.Invalid{}
	round := make([]web.ReadingEntered, len(in.Body.Readings))
	for i, r := range in.Body.Readings {
		id, says := v.conveyorMeant(r)
		if says != "" {
			bad.Add(place(i)+".conveyor_id", says)
		}
		round[i] = r.of(id)
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	return s.enter(ctx, v, in.Keyed, round, place)
}

func (r ReadingRead) of(conveyorID int64) web.ReadingEntered {
	return web.ReadingEntered{ConveyorID: conveyorID, At: assets.InstantOf(r.At), ShownH: r.ShownH, Remark: r.Remark}
}

// conveyorMeant returns the number of the conveyor that a reading of a round names, or what is wrong.
func (v *view) conveyorMeant(r readingOfRound) (id int64, says string) {
	c, ok := v.Register.Conveyor(r.ConveyorID)
	switch {
	case (r.ConveyorID == 0) == (r.Conveyor == ""):
		return 0, "name the conveyor by its number or by its tag, one of the two"
	case r.ConveyorID == 0:
		c, ok = v.Register.ConveyorByTag(r.Conveyor)
	}
	if !ok || c.Status == assets.ConveyorRetired {
		return 0, "the plant has no such conveyor in use"
	}
	return c.ID, ""
}

// enter takes readings once. place says where in the request each stands.
func (s *service) enter(ctx context.Context, v *view, k Keyed, readings []web.ReadingEntered, place func(int) string) (*entered, error) {
	a := v.asker
	if !a.Who.May(people.EnterReading, v.plant.CustomerID, v.plant.ID) {
		return nil, assets.ErrForbidden
	}
	bad := assets.Invalid{}
	for i, r := range readings {
		switch day := assets.DayOf(r.At.Time().In(v.plant.Location())); {
		case r.At > assets.InstantOf(a.now):
			bad.Add(place(i)+".at", "this lies in the future; give the time at which the meter was read")
		case day < assets.FirstDay:
			bad.Add(place(i)+".at", "this lies before "+string(assets.FirstDay)+"; check the year")
		}
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	e := Entry{Writing: a.writing(v.plant.ID, k), Readings: readings}
	kept, again, err := s.EnterOnce(ctx, a.Scope(), e, func(outcomes []Outcome) (string, error) { return outcomeText(readings, outcomes) })
	out := &entered{Replayed: replayed(again)}
	return out, a.readKept(kept, err, &out.Body)
}

// writing is whoever asks, who writes at a plant under a key.
func (a *asker) writing(plantID int64, k Keyed) Writing {
	return Writing{PersonID: a.Person.ID, TokenID: a.TokenID, TokenName: a.TokenName, Key: k.Key, RequestHash: hashOf(a.request, k.RawBody), Now: a.now, PlantID: plantID}
}

// replayed is the header of an answer that was kept of the first time.
func replayed(again bool) string { return map[bool]string{true: "true"}[again] }

// readKept reads the answer that is kept under a key, or says why there is none.
func (a *asker) readKept(kept string, err error, into any) error {
	switch {
	case errors.Is(err, ErrOtherRequest):
		return told(a.request, http.StatusUnprocessableEntity, "This key was used for another request", "Send this request with a key of its own. Nothing was kept.")
	case err != nil:
		return at("body", err)
	}
	return json.Unmarshal([]byte(kept), into)
}

// hashOf tells requests apart: method, path and body.
func hashOf(r *http.Request, body []byte) string {
	h := sha256.New()
	fmt.Fprintf(h, "%s %s\n", r.Method, r.URL.Path)
	h.Write(body)
	return hex.EncodeToString(h.Sum(nil))
}

// outcomeText is the answer as it is kept with its key.
func outcomeText(readings []web.ReadingEntered, outcomes []Outcome) (string, error) {
	out := entryOutcome{Outcomes: make([]readingOutcome, len(readings))}
	for i, r := range readings {
		told := readingOutcome{ConveyorID: r.ConveyorID, At: r.At.Time(), ShownH: r.ShownH, Outcome: "kept"}
		switch o := outcomes[i]; {
		case o.Class.Held():
			told.Outcome, told.Class, told.HeldID = "held", string(o.Class), known(o.HeldID)
		case o.Class == clock.Duplicate:
			told.Outcome = "known"
		}
		out.Outcomes[i] = told
	}
	text, err := json.Marshal(out)
	return string(text), err
}
