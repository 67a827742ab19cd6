package intake

// Kind is a kind of record that an import gives.
type Kind string

// Kinds of record, in the order in which an import works through them.
const (
	KindPlant    Kind = "plant"
	KindLine     Kind = "line"
	KindConveyor Kind = "conveyor"
	KindBelt     Kind = "belt"
	KindSplice   Kind = "splice"
	KindReading  Kind = "reading"
	KindFinding  Kind = "finding"
)

// Kinds lists the kinds in that order.
var Kinds = []Kind{KindPlant, KindLine, KindConveyor, KindBelt, KindSplice, KindReading, KindFinding}

func (k Kind) rank() int {
	for i, o := range Kinds {
		if o == k {
			return i
		}
	}
	return len(Kinds)
}

// shape is how a cell of a field is read.
type shape uint8

const (
	shapeText shape = iota
	shapeTag
	shapeQuantity
	shapeHours
	shapeDate
	shapeStatus
	shapeSpliceKind
	shapeReason
	shapeGrade
	shapeFlag
	shapeMeasured
	shapeEvent
)

// dimension is what a quantity measures.
type dimension uint8

const (
	noDimension dimension = iota
	length
	speed
	tension
	angle
	hours
)

// field is one field that a column can be read as.
type field struct {
	name     string // in a mapping
	key      string // in the printed fields
	kind     Kind   // "" belongs to any record
	shape    shape
	dim      dimension
	positive bool    // zero and less cannot be
	max      float64 // more cannot be; 0: no limit
	words    string  // in a sentence
	fromNow  bool    // a changed value holds from the import on; otherwise it is a correction from the beginning
}

// fields are the words of the contract with what each is. The order is that of the printed fields.
var fields = []*field{
	{name: "plant", key: "plant", kind: KindPlant, words: "plant"},
	{name: "line", key: "line", kind: KindLine, words: "line", fromNow: true},
	{name: "conveyor", key: "conveyor", kind: KindConveyor, shape: shapeTag, words: "conveyor tag"},
	{name: "conveyor_name", key: "conveyor_name", kind: KindConveyor, words: "name", fromNow: true},
	{name: "product", key: "product", kind: KindConveyor, words: "product", fromNow: true},
	{name: "isolation_group", key: "isolation_group", kind: KindConveyor, words: "isolation group", fromNow: true},
	{name: "access_note", key: "access_note", kind: KindConveyor, words: "access note", fromNow: true},
	{name: "speed", key: "speed_m_per_s", kind: KindConveyor, shape: shapeQuantity, dim: speed, words: "speed", fromNow: true},
	{name: "centre_distance", key: "centre_distance_m", kind: KindConveyor, shape: shapeQuantity, dim: length, positive: true, words: "centre distance"},
	{name: "take_up_travel", key: "take_up_travel_m", kind: KindConveyor, shape: shapeQuantity, dim: length, words: "take-up travel"},
	{name: "incline", key: "incline_deg", kind: KindConveyor, shape: shapeQuantity, dim: angle, max: 90, words: "incline"},
	{name: "status", key: "status", kind: KindConveyor, shape: shapeStatus, words: "status", fromNow: true},
	{name: "retired_on", key: "retired_on", shape: shapeDate, words: "retiring date"},
	{name: "specification", key: "specification", kind: KindBelt, words: "belt specification"},
	{name: "roll_number", key: "roll_number", kind: KindBelt, words: "roll number"},
	{name: "width", key: "width_m", kind: KindBelt, shape: shapeQuantity, dim: length, positive: true, max: 5, words: "width"},
	{name: "loop_length", key: "loop_length_m", kind: KindBelt, shape: shapeQuantity, dim: length, positive: true, words: "loop length", fromNow: true},
	{name: "thickness", key: "thickness_m", kind: KindBelt, shape: shapeQuantity, dim: length, positive: true, words: "thickness"},
	{name: "working_tension", key: "working_tension_n_per_m", kind: KindBelt, shape: shapeQuantity, dim: tension, positive: true, words: "working tension"},
	{name: "fitted_on", key: "fitted_on", kind: KindBelt, shape: shapeDate, words: "fitting date"},
	{name: "fitted_by", key: "fitted_by", kind: KindBelt, words: "fitter"},
	{name: "removed_on", key: "removed_on", kind: KindBelt, shape: shapeDate, words: "removal date"},
	{name: "removed_why", key: "removed_why", kind: KindBelt, words: "reason of removal"},
	{name: "splice_number", key: "splice_number", kind: KindSplice, words: "splice number"},
	{name: "splice_position", key: "splice_position_m", kind: KindSplice, shape: shapeQuantity, dim: length, words: "splice position"},
	{name: "splice_kind", key: "splice_kind", kind: KindSplice, shape: shapeSpliceKind, words: "splice kind"},
	{name: "made_on", key: "made_on", kind: KindSplice, shape: shapeDate, words: "making date"},
	{name: "made_by", key: "made_by", kind: KindSplice, words: "maker"},
	{name: "retired_why", key: "retired_why", kind: KindSplice, shape: shapeReason, words: "reason of retiring"},
	{name: "failure_mode", key: "failure_mode", kind: KindSplice, words: "failure mode"},
	{name: "finger_pitch", key: "finger_pitch_m", kind: KindSplice, shape: shapeQuantity, dim: length, positive: true, words: "finger pitch"},
	{name: "finger_length", key: "finger_length_m", kind: KindSplice, shape: shapeQuantity, dim: length, positive: true, words: "finger length"},
	{name: "step_length", key: "step_length_m", kind: KindSplice, shape: shapeQuantity, dim: length, positive: true, words: "step length"},
	{name: "bias_angle", key: "bias_angle_deg", kind: KindSplice, shape: shapeQuantity, dim: angle, max: 90, words: "bias angle"},
	{name: "taken_on", key: "taken_on", kind: KindReading, shape: shapeDate, words: "reading date"},
	{name: "meter_reading", key: "meter_reading_h", kind: KindReading, shape: shapeHours, dim: hours, words: "meter reading"},
	{name: "meter_event", key: "meter_event", kind: KindReading, shape: shapeEvent, words: "meter event"},
	{name: "meter_start", key: "meter_start_h", kind: KindReading, shape: shapeQuantity, dim: hours, words: "start of the new meter"},
	{name: "found_on", key: "found_on", kind: KindFinding, shape: shapeDate, words: "finding date"},
	{name: "category", key: "category", kind: KindFinding, words: "category"},
	{name: "grade", key: "grade", kind: KindFinding, shape: shapeGrade, words: "grade"},
	{name: "finding_text", key: "finding_text", kind: KindFinding, words: "finding text"},
	{name: "found_by", key: "found_by", kind: KindFinding, words: "inspector"},
	{name: "target", key: "target", kind: KindFinding, words: "target"},
	{name: "measurement", key: "measurement", kind: KindFinding, shape: shapeMeasured, words: "measurement"},
	{name: "running", key: "running", kind: KindFinding, shape: shapeFlag, words: "running"},
	{name: "remark", key: "remark", words: "remark"},
}

var fieldNamed = func() map[string]*field {
	m := make(map[string]*field, len(fields))
	for _, f := range fields {
		m[f.name] = f
	}
	return m
}()

// FieldNames lists the fields that a column can be read as, in the order a screen offers them.
func FieldNames() []string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.name
	}
	return names
}

// FieldWords says what a field is in words; "" for a name that is no field.
func FieldWords(name string) string {
	if f := fieldNamed[name]; f != nil {
		return f.words
	}
	return ""
}

// takesUnit tells whether a column of the field can be given a unit.
func (f *field) takesUnit() bool {
	return f.shape == shapeQuantity || f.shape == shapeHours || f.shape == shapeMeasured
}
