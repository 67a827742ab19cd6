package plantdb_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// replayed is a stretch of a thing's time as the journal tells it: columns by their names.
type replayed struct {
	from, to string // RFC 3339; from "" since ever, to "" until further notice
	columns  map[string]any
}

// journalText is one row of an entry, read without the program's own types.
type journalText struct {
	Table     string         `json:"table"`
	ID        int64          `json:"id"`
	ValidFrom string         `json:"valid_from"`
	ValidTo   string         `json:"valid_to"`
	Before    map[string]any `json:"before"`
	After     map[string]any `json:"after"`
}

// replayJournal goes through the entries up to an instant in their order and does what each says, and nothing else: a
// row without Before begins a thing, one without After takes its stretch back, one with both changes what it names
// within its stretch. Readings are kept by their instant.
func replayJournal(t *rapid.T, db *plantdb.DB, chain int64, known assets.Instant) map[string][]replayed {
	var entries []struct{ Changes string }
	if err := db.SQL(bg).Raw("SELECT changes FROM journal_entries WHERE chain_id = ? AND at <= ? ORDER BY position", chain, known).Scan(&entries).Error; err != nil {
		t.Fatal(err)
	}
	world := map[string][]replayed{}
	for _, e := range entries {
		var rows []journalText
		if err := json.Unmarshal([]byte(e.Changes), &rows); err != nil {
			t.Fatal(err)
		}
		for _, r := range rows {
			key := fmt.Sprintf("%s %d", r.Table, r.ID)
			if r.Table == "readings" {
				at := r.After["at"]
				if at == nil {
					at = r.Before["at"]
				}
				key = fmt.Sprintf("%s at %s", key, at)
				if world[key] = nil; r.After != nil {
					world[key] = []replayed{{columns: r.After}}
				}
				continue
			}
			world[key] = r.tell(world[key])
		}
	}
	return world
}

// tell does what a row of an entry says to the stretches of its thing.
func (r journalText) tell(held []replayed) []replayed {
	if r.Before == nil && len(held) == 0 {
		return []replayed{{from: r.ValidFrom, columns: r.After}}
	}
	var out []replayed
	for _, s := range held {
		in := replayed{from: later(s.from, r.ValidFrom), to: sooner(s.to, r.ValidTo), columns: s.columns}
		if in.to != "" && in.from >= in.to {
			out = append(out, s)
			continue
		}
		if s.from < in.from {
			out = append(out, replayed{s.from, in.from, s.columns})
		}
		if r.After != nil {
			in.columns = maps.Clone(s.columns)
			maps.Copy(in.columns, r.After)
			out = append(out, in)
		}
		if in.to != "" && (s.to == "" || s.to > in.to) {
			out = append(out, replayed{in.to, s.to, s.columns})
		}
	}
	return out
}

// Instants of one form compare as texts; "" is before all as a beginning and after all as an end.
func later(a, b string) string { return max(a, b) }

func sooner(a, b string) string {
	switch {
	case a == "":
		return b
	case b == "":
		return a
	}
	return min(a, b)
}

// saysThen lists what a replayed world holds of a day: one line a thing.
func saysThen(world map[string][]replayed, day time.Time) []string {
	at := stampText(day)
	var lines []string
	for key, stretches := range world {
		for _, s := range stretches {
			if s.from > at || s.to != "" && s.to <= at {
				continue
			}
			c := func(name string) any { return s.columns[name] }
			switch table, _, _ := strings.Cut(key, " "); table {
			case "conveyors":
				lines = append(lines, fmt.Sprintf("conveyor %v %v %v", c("tag"), c("name"), c("speed_mps")))
			case "belts":
				lines = append(lines, fmt.Sprintf("%s loop %v", key, c("loop_length_m")))
			case "splices":
				if made, _ := c("made_at").(string); made <= at {
					lines = append(lines, fmt.Sprintf("%s %v made %v with %v", key, c("number"), made, c("made_with")))
				}
			case "readings":
				lines = append(lines, fmt.Sprintf("reading %v %v", c("at"), c("shown_h")))
			}
		}
	}
	slices.Sort(lines)
	return lines
}

func stampText(t time.Time) string { return assets.InstantOf(t).String() }

// saysDatabase lists the same as the statements of register and clocks find it.
func saysDatabase(t *rapid.T, s *plantdbtest.Site, day, known time.Time) []string {
	asOf, err := s.DB.KnownAt(bg, s.Plant.ID, assets.InstantOf(day), assets.InstantOf(known))
	if err != nil {
		t.Fatal(err)
	}
	reg, err := registry.PlantAsOf(bg, s.DB, s.Scope, s.Plant.ID, asOf)
	if err != nil {
		t.Fatal(err)
	}
	asOf.Valid = 0
	readings, err := clocks.Readings(bg, s.DB, s.Scope, s.Conveyor.ID, clocks.Span{}, asOf)
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, c := range reg.Conveyors {
		lines = append(lines, fmt.Sprintf("conveyor %v %v %v", c.Tag, c.Name, c.SpeedMPS))
	}
	for _, b := range reg.Belts {
		lines = append(lines, fmt.Sprintf("belts %d loop %v", b.ID, b.LoopLengthM))
	}
	for _, sp := range reg.Splices {
		with := any(sp.MadeWith)
		if sp.MadeWith == "" {
			with = nil
		}
		lines = append(lines, fmt.Sprintf("splices %d %v made %v with %v", sp.ID, sp.Number, sp.Made.At, with))
	}
	for _, r := range readings {
		lines = append(lines, fmt.Sprintf("reading %v %v", r.At, r.ShownH))
	}
	slices.Sort(lines)
	return lines
}

// history writes a random history into a plant. Every thing is entered on a day of its own choosing, mostly long after it
// was so; one of ten is corrected, up to five times, and one of twenty taken back.
type history struct {
	t         *rapid.T
	s         *plantdbtest.Site
	now       time.Time
	splices   []int64
	readings  []assets.Instant
	corrected map[string]int
}

func (h *history) change(fn func(*plantdb.Change) error) {
	h.now = h.now.Add(time.Duration(rapid.IntRange(1, 72).Draw(h.t, "hours to the next entry")) * time.Hour)
	if err := h.s.Try(h.now, fn); err != nil {
		h.t.Fatal(err)
	}
}

// day is a day of the last 600 before the plant was set up, at noon.
func (h *history) day() time.Time {
	return plantdbtest.Noon.AddDate(0, 0, -rapid.IntRange(1, 600).Draw(h.t, "days ago"))
}

// again tells whether a thing may be corrected once more.
func (h *history) again(thing string) bool {
	h.corrected[thing]++
	return h.corrected[thing] <= 5
}

func (h *history) step() {
	switch k := rapid.IntRange(0, 99).Draw(h.t, "what is told"); {
	case k < 35:
		h.reading()
	case k < 55:
		h.speed()
	case k < 65:
		h.loop()
	case k < 80:
		h.splice()
	case k < 95:
		h.correct()
	default:
		h.takeBack()
	}
}

func (h *history) reading() {
	at := assets.InstantOf(h.day())
	if slices.Contains(h.readings, at) {
		return
	}
	h.readings = append(h.readings, at)
	h.change(func(c *plantdb.Change) error {
		ch, err := c.PlantChain(h.s.Plant.ID)
		if err != nil {
			return err
		}
		shown := h.shown(at)
		c.Note(ch, plantdb.Written{Table: "readings", ID: h.s.Conveyor.ID, After: map[string]any{"at": at, "shown_h": shown}})
		return clocks.WriteReadings(c, ch, []assets.Reading{{ConveyorID: h.s.Conveyor.ID, At: at, KnownFrom: ch.Position, ShownH: shown}})
	})
}

// shown is what the meter showed about then: ten hours a day and a little; what cannot be would not be taken.
func (h *history) shown(at assets.Instant) float64 {
	days := at.Time().Sub(plantdbtest.Noon.AddDate(0, 0, -700)).Hours() / 24
	return float64(int(100*days)+rapid.IntRange(0, 40).Draw(h.t, "tenths more"))/10 + 100
}

// speed tells from when on the conveyor ran at another speed: late, and over what was told of later days.
func (h *history) speed() {
	h.change(func(c *plantdb.Change) error {
		row, err := plantdb.ReadRow[assets.Conveyor](c, h.s.Conveyor.ID)
		if err != nil {
			return err
		}
		row.SpeedMPS = float64(rapid.IntRange(1, 50).Draw(h.t, "tenths of m/s")) / 10
		return registry.AlterConveyor(c, &row, assets.InstantOf(h.day()))
	})
}

func (h *history) loop() {
	h.change(func(c *plantdb.Change) error {
		row, err := plantdb.ReadRow[assets.Belt](c, h.s.Belt.ID)
		if err != nil {
			return err
		}
		row.LoopLengthM = float64(rapid.IntRange(100, 140).Draw(h.t, "m"))
		return registry.AlterBelt(c, &row, assets.InstantOf(h.day()))
	})
}

func (h *history) splice() {
	h.change(func(c *plantdb.Change) error {
		made := h.s.On(assets.DayOf(h.day()))
		sp := assets.Splice{BeltID: h.s.Belt.ID, Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Made: made}
		err := registry.MakeSplice(c, &sp)
		h.splices = append(h.splices, sp.ID)
		return err
	})
}

// correct corrects a splice, a stretch of the conveyor's time, or a reading.
func (h *history) correct() {
	switch k := rapid.IntRange(0, 2).Draw(h.t, "what is corrected"); {
	case k == 0 && len(h.splices) > 0:
		id := rapid.SampledFrom(h.splices).Draw(h.t, "splice")
		if h.again(fmt.Sprint("splice ", id)) {
			h.change(func(c *plantdb.Change) error {
				row, err := plantdb.ReadRow[assets.Splice](c, id)
				if err != nil {
					return err
				}
				row.Made, row.MadeWith = h.s.On(assets.DayOf(h.day())), fmt.Sprint("press ", h.corrected[fmt.Sprint("splice ", id)])
				return registry.CorrectSplice(c, &row)
			})
		}
	case k == 1 && len(h.readings) > 0:
		at := rapid.SampledFrom(h.readings).Draw(h.t, "reading")
		if h.again(fmt.Sprint("reading ", at)) {
			shown := h.shown(at)
			h.change(func(c *plantdb.Change) error { return clocks.CorrectReading(c, h.s.Conveyor.ID, at, &shown) })
		}
	default:
		if h.again("conveyor") {
			from := h.day()
			to := assets.InstantOf(from.AddDate(0, 0, rapid.IntRange(1, 200).Draw(h.t, "days it was so")))
			h.change(func(c *plantdb.Change) error {
				row, err := plantdb.ReadRow[assets.Conveyor](c, h.s.Conveyor.ID)
				if err != nil {
					return err
				}
				ch, err := c.PlantChain(h.s.Plant.ID)
				if err != nil {
					return err
				}
				row.Name = fmt.Sprint("Discharge ", h.corrected["conveyor"])
				return plantdb.CorrectBetween(c, ch, &row, assets.InstantOf(from), &to, "name")
			})
		}
	}
}

// takeBack withdraws what was entered by mistake: a splice that never was, a reading nobody took.
func (h *history) takeBack() {
	if len(h.splices) > 0 && rapid.Bool().Draw(h.t, "a splice") {
		id := h.splices[len(h.splices)-1]
		h.splices = h.splices[:len(h.splices)-1]
		h.change(func(c *plantdb.Change) error {
			row, err := plantdb.ReadRow[assets.Splice](c, id)
			if err != nil {
				return err
			}
			ch, err := c.PlantChain(h.s.Plant.ID)
			if err != nil {
				return err
			}
			return plantdb.End(c, ch, &row, 0)
		})
	} else if len(h.readings) > 0 {
		at := h.readings[len(h.readings)-1]
		h.readings = h.readings[:len(h.readings)-1]
		h.change(func(c *plantdb.Change) error { return clocks.CorrectReading(c, h.s.Conveyor.ID, at, nil) })
	}
}

// TestRegisterAsKnownThenAgainstAPlainReplay writes random histories and compares the rows of the register on random days,
// as known at random moments, with a plain replay of the journal's own text: at least a thousand pairs, see leastPairs.
func TestRegisterAsKnownThenAgainstAPlainReplay(t *testing.T) {
	leastPairs := 1000 // of a day and a moment, compared with a replay of the journal
	if testing.Short() {
		leastPairs = 200
	}
	const perHistory = 12
	pairs, plants := 0, 0
	db := plantdbtest.Open(t)
	rapid.Check(t, func(rt *rapid.T) {
		plants++ // each history is of a plant of its own
		h := &history{t: rt, s: plantdbtest.PlantIn(t, db, fmt.Sprint("Quarry ", plants)), now: plantdbtest.Noon, corrected: map[string]int{}}
		for range rapid.IntRange(5, 25).Draw(rt, "entries") {
			h.step()
		}
		chain, err := h.s.DB.Checkpoint(bg, h.s.Customer.ID, 0)
		if err != nil {
			rt.Fatal(err)
		}
		span := int(h.now.Sub(plantdbtest.Noon).Hours()) + 2
		for range perHistory {
			known := plantdbtest.Noon.Add(time.Duration(rapid.IntRange(0, span).Draw(rt, "known at, hours")) * time.Hour)
			day := h.day()
			want, got := saysThen(replayJournal(rt, h.s.DB, chain.ChainID, assets.InstantOf(known)), day), saysDatabase(rt, h.s, day, known)
			if diff := cmp.Diff(want, got); diff != "" {
				rt.Fatalf("on %s as known at %s, -replay +database\n%s", day.Format(time.DateOnly), known.Format(time.RFC3339), diff)
			}
			pairs++
		}
	})
	if pairs < leastPairs {
		t.Errorf("%d pairs were compared, want %d", pairs, leastPairs)
	}
}
