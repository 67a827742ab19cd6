// Package press reads the recorded trace of a press cycle and judges it against the recipe the splice was to be made by.
//
// A trace is temperatures of both platens and pressure over time, as the press or a logger wrote it. Read takes the file
// as it is, Trace.Judge finds the press cycles in it and gives each criterion of the recipe its figure and a verdict:
// within, outside or, when the file does not show it, cannot judge. A verdict proves how a splice was pressed; it does
// not say that a conveyor is safe to run.
//
// The package is pure: it opens no file and reads no clock.
package press

import "math"

// Recipe is what a press cycle has to keep: set values with their tolerances, per splice kind and belt specification.
type Recipe struct {
	SetTopC       float64 // set temperature of the upper platen, degrees Celsius
	SetBottomC    float64 // set temperature of the lower platen, degrees Celsius
	ToleranceK    float64 // how far a platen may be from its set temperature during the dwell
	HeatingRate   Band    // K/min, each platen
	TimeToTempMax float64 // minutes from the start of heating to arrival
	Dwell         Band    // minutes
	OvershootMaxK float64 // largest deviation above the set temperature
	PressureBar   float64 // set pressure, bar
	PressurePct   float64 // tolerance of the pressure, per cent of the set value
	SpreadMaxK    float64 // largest difference between the platens' deviations during the dwell
	CoolingMax    float64 // minutes from the end of the dwell to the release temperature
	ReleaseMaxC   float64 // the hotter platen at opening, degrees Celsius
	DurationMax   float64 // minutes from the start of heating to opening
	ExcursionS    float64 // an excursion out of the tolerance no longer than this does not break the dwell
	ExcursionK    float64 // ... and no further beyond the tolerance than this
	Cure          *Cure   // nil where the recipe asks for no equivalent cure
}

// Band is a least and a greatest value.
type Band struct{ Min, Max float64 }

func (b Band) holds(v float64) bool { return b.Min <= v && v <= b.Max }

// Cure is what a vulcanising recipe asks of the equivalent cure.
type Cure struct {
	RefC    float64 // reference temperature, degrees Celsius
	Minutes Band    // minutes at the reference temperature
}

// Verdict is the answer to one criterion.
type Verdict string

// Verdicts.
const (
	Within      Verdict = "within"
	Outside     Verdict = "outside"
	CannotJudge Verdict = "cannot judge"
)

// Names of the criteria. Each ends in the unit of its value.
const (
	HeatingRateTop    = "heating_rate_top_K_min"
	HeatingRateBottom = "heating_rate_bottom_K_min"
	TimeToTemperature = "time_to_temperature_min"
	DwellTime         = "dwell_min"
	Overshoot         = "overshoot_K"
	PressureMin       = "pressure_min_bar"
	PressureMax       = "pressure_max_bar"
	SpreadInDwell     = "spread_in_dwell_K"
	ReleaseTemp       = "release_temperature_C"
	Duration          = "duration_min"
	CoolingTime       = "cooling_min"
	EquivalentCure    = "equivalent_cure_min"
)

// Criterion is one criterion judged.
type Criterion struct {
	Name    string
	Value   *float64 // nil when the file shows none
	Verdict Verdict
	Why     string // words for a verdict that the value alone does not explain
}

// Notice is something about the file that a person should know.
type Notice struct {
	Kind    string   // one of the Notice constants
	Sensor  string   // "top", "bottom" or "pressure"; empty when it is about the whole row
	FromS   *float64 // seconds, as the file's clock showed
	ToS     *float64
	AtC     *float64 // the value a stuck sensor showed
	DataRow int      // counted from 1, headings not counted; 0 when it is about no single row
}

// Kinds of notices.
const (
	RowsMissing   = "rows missing"
	ClockJump     = "clock jump"
	SensorStuck   = "sensor stuck"
	SensorMissing = "sensor missing"
	SensorBridged = "sensor missing, bridged"
	IncompleteRow = "incomplete row"
	UnitDoubtful  = "unit doubtful"
)

// Cycle is one press cycle of a file, judged.
type Cycle struct {
	FirstRow, LastRow int // data rows, counted from 1 without headings and incomplete rows
	Overall           Verdict
	Criteria          []Criterion
	DwellFromS        float64 // the dwell that was found, on the file's clock; equal to its end when none was
	DwellToS          float64
}

// Judgement is a whole file judged.
type Judgement struct {
	Cycles  []Cycle
	Notices []Notice
}

// NeedsChoice reports whether a person has to say which of several cycles made the splice.
func (j Judgement) NeedsChoice() bool { return len(j.Cycles) > 1 }

// overall is outside if any criterion is, else cannot judge if any is, else within.
func overall(all []Criterion) Verdict {
	sum := Within
	for _, c := range all {
		if c.Verdict == Outside {
			return Outside
		}
		if c.Verdict == CannotJudge {
			sum = CannotJudge
		}
	}
	return sum
}

func known(v float64) bool { return !math.IsNaN(v) }

func some(v float64) *float64 {
	if !known(v) {
		return nil
	}
	return &v
}
