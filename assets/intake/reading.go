package intake

import (
	"fmt"
	"math"
	"sort"
	"time"

	"carryside/assets"
)

// Classes of held readings.
const (
	heldBackwards   = "backwards"
	heldTooFast     = "more_than_24_h_a_day"
	heldSameInstant = "same_instant"
)

// hourReading is one reading of the file.
type hourReading struct {
	e      *entry
	c      *column // in a table with a column per reading
	v      value   // hours
	day    assets.Day
	timed  bool
	at     assets.Instant
	approx string // words of a month
	event  meterEvent
	start  value

	refusal *Refusal
	held    string
	text    string
	stored  bool // the register has it already
}

// point is an accepted reading on the conveyor's line of running hours.
type point struct {
	at    assets.Instant
	day   assets.Day
	timed bool
	shown float64
	hours float64 // running hours: shown plus the offset of its stretch of meter
}

// givesReading tells whether a row can give a reading.
func (e *entry) givesReading() bool {
	if !e.t.records[KindReading] {
		return false
	}
	return e.t.hasDatedColumns() || e.get("meter_reading").set || e.get("taken_on").set && !e.t.creates
}

// judgeReadings takes the conveyor's readings in, in order of time.
func (g *group) judgeReadings() {
	g.hours = nil
	for _, e := range g.rows {
		if e.refusal == nil && e.givesReading() {
			g.readHoursOf(e)
		}
	}
	if len(g.hours) == 0 {
		return
	}
	g.refuseSameDay()
	live := g.hours[:0]
	for _, h := range g.hours {
		if h.refusal == nil {
			live = append(live, h)
		}
	}
	sort.SliceStable(live, func(a, b int) bool { return live[a].at < live[b].at })
	line := g.newLine()
	for _, h := range live {
		line.judge(h)
	}
	g.hours = live
	g.listHours()
}

// readHoursOf gathers the readings of a row.
func (g *group) readHoursOf(e *entry) {
	if e.t.hasDatedColumns() {
		for _, c := range e.t.columns {
			if c.dated {
				g.wideReading(e, c)
			}
		}
		return
	}
	on, v := e.get("taken_on"), e.get("meter_reading")
	switch {
	case !on.set:
		e.refuse(e.t.byField["taken_on"], faultNoKey, on.text, "a reading needs its day; write the day on which the meter was read")
		return
	case !v.set:
		e.refuse(e.t.byField["meter_reading"], faultNoKey, v.text, "a reading needs its hours; write what the meter showed, or remove the row")
		return
	}
	h := &hourReading{e: e, v: v, day: on.from, timed: on.timed, start: e.get("meter_start"), event: e.meterEvent()}
	h.at = g.instant(on.from, on.timed, int(on.minute))
	g.hours = append(g.hours, h)
}

// meterEvent is what the row tells of the meter, by its own field or by a remark.
func (e *entry) meterEvent() meterEvent {
	if ev := readEvent(e.get("meter_event").text, true); ev != noEvent {
		return ev
	}
	for i := range e.vals {
		if e.vals[i].c.f.name == "remark" {
			if ev := readEvent(e.vals[i].v.text, false); ev != noEvent {
				return ev
			}
		}
	}
	return noEvent
}

// wideReading reads one cell of a table with a column per reading.
func (g *group) wideReading(e *entry, c *column) {
	cell := e.row.at(c.col)
	shown := g.j.book.shown(cell)
	if cell.Kind == Blank || cell.Kind == Text && noWord(shown) {
		return
	}
	e.used = true
	h := &hourReading{e: e, c: c, day: c.when.latest}
	var f fault
	switch {
	case cell.Kind == Failed:
		f = faultErrorCell
	case c.when.fault != "":
		f = c.when.fault
		shown = c.from.text
	case c.when.earliest > g.j.r.today || c.when.latest < assets.FirstDay:
		f, shown = faultDateRange, c.from.text
	default:
		h.v, f = g.j.r.hoursOf(c, cell)
	}
	if f != "" {
		if shown == "" {
			shown = "formula without a value"
		}
		h.refuse(f, shown, why(f, c))
		g.j.refused = append(g.j.refused, *h.refusal)
		return
	}
	if c.when.latest > g.j.r.today {
		h.day = g.j.r.today
	}
	if c.when.approximate {
		h.approx = c.from.text
		if h.approx == "" {
			h.approx = string(c.when.earliest)
		}
	}
	h.at = g.instant(h.day, c.when.timed, c.when.minute)
	g.hours = append(g.hours, h)
}

// refuse marks a reading as refused: the row, or in a table with a column per reading the cell.
func (h *hourReading) refuse(f fault, shown, why string) {
	if h.c == nil {
		c := h.e.t.byField["meter_reading"]
		h.e.refuse(c, f, shown, why)
		h.refusal = h.e.refusal
		return
	}
	e := &entry{t: h.e.t, row: h.e.row}
	e.refuse(h.c, f, shown, why)
	h.refusal = e.refusal
	h.refusal.entry, h.refusal.cell = h.e, h.c
}

// instant is the moment a day stands for: its end in the plant's zone, or now when it is not over yet.
func (g *group) instant(day assets.Day, timed bool, minute int) assets.Instant {
	if timed {
		if t, err := time.ParseInLocation(time.DateOnly, string(day), g.p.zone); err == nil {
			y, m, d := t.Date()
			return assets.InstantOf(time.Date(y, m, d, minute/60, minute%60, 0, 0, g.p.zone))
		}
	}
	w, err := assets.OnDay(day, g.p.zone, g.j.opt.Now)
	if err != nil {
		return 0
	}
	return w.At
}

// refuseSameDay refuses readings at an instant that an earlier row of the file has.
func (g *group) refuseSameDay() {
	seen := make(map[assets.Instant]*hourReading, len(g.hours))
	for _, h := range g.hours {
		first := seen[h.at]
		switch {
		case first == nil:
			seen[h.at] = h
			continue
		case first.v.num == h.v.num:
			h.refuse(faultDuplicate, h.v.text, "stands for the same day in "+h.e.other(first.e)+"; remove one of the two")
		default:
			h.refuse(faultContradicts, h.v.text, fmt.Sprintf("contradicts %s, which gives %s for the same day; correct one of them", h.e.other(first.e), quoted(first.v.text)))
		}
		if h.c != nil {
			g.j.refused = append(g.j.refused, *h.refusal)
		}
	}
}

// hourLine is the line of running hours through the accepted readings.
type hourLine struct {
	g      *group
	points []point // the register's, in order of time
	last   *point  // the last one of this file, which comes in order of time too
	state  *ConveyorState
	offset float64 // of the stretch in force behind the last reading of this file
	moved  bool    // a stretch began in this file
	from   assets.Instant
}

// newLine starts with what the register accepted.
func (g *group) newLine() *hourLine {
	l := &hourLine{g: g, state: g.p.stored[g.key]}
	if l.state == nil {
		return l
	}
	l.points = make([]point, 0, len(l.state.Readings))
	for i := range l.state.Readings {
		r := &l.state.Readings[i]
		local := r.At.Time().In(g.p.zone)
		timed := local.Hour() != 0 || local.Minute() != 0
		if !timed {
			local = local.Add(-time.Minute)
		}
		l.points = append(l.points, point{at: r.At, day: assets.DayOf(local), timed: timed, shown: r.ShownH, hours: r.ShownH + l.storedOffset(r.At)})
	}
	return l
}

// storedOffset is the offset of the register's stretch of meter at an instant.
func (l *hourLine) storedOffset(at assets.Instant) float64 {
	offset := 0.0
	if l.state != nil {
		for i := range l.state.Meters {
			if m := &l.state.Meters[i]; m.FromAt <= at || (i == 0 && m.Why == assets.MeterFirst) {
				offset = l.state.Meters[i].OffsetH
			}
		}
	}
	return offset
}

// offsetAt is the offset in force at an instant, this file's stretches included.
func (l *hourLine) offsetAt(at assets.Instant) float64 {
	if !l.moved || at < l.from {
		return l.storedOffset(at)
	}
	if l.state != nil {
		for i := range l.state.Meters {
			if m := &l.state.Meters[i]; m.FromAt > l.from && m.FromAt <= at {
				return l.storedOffset(at)
			}
		}
	}
	return l.offset
}

// resolution is one display step of the meter.
func (l *hourLine) resolution(h *hourReading) float64 {
	if l.state != nil {
		for i := len(l.state.Meters) - 1; i >= 0; i-- {
			if m := &l.state.Meters[i]; m.FromAt <= h.at && m.ResolutionH > 0 {
				return m.ResolutionH
			}
		}
	}
	return 0.1
}

// judge says what becomes of a reading beside its accepted neighbours.
func (l *hourLine) judge(h *hourReading) {
	i := sort.Search(len(l.points), func(i int) bool { return l.points[i].at >= h.at })
	if l.known(h, i) {
		return
	}
	var before, after *point
	if i > 0 {
		before = &l.points[i-1]
	}
	if l.last != nil && (before == nil || l.last.at > before.at) {
		before = l.last
	}
	if i < len(l.points) {
		after = &l.points[i]
	}
	offset := l.offsetAt(h.at)
	var begun *assets.Meter
	if before != nil {
		if begun = l.stretch(h, before, offset); begun != nil {
			offset = begun.OffsetH
		}
	}
	p := point{at: h.at, day: h.day, timed: h.timed, shown: h.v.num, hours: h.v.num + offset}
	if before != nil {
		l.pair(h, before, &p, before)
	}
	if h.held == "" && after != nil && begun == nil {
		l.pair(h, &p, after, after)
	}
	if h.held != "" {
		return
	}
	if begun != nil {
		l.offset, l.moved, l.from = offset, true, h.at
		l.g.newMeters = append(l.g.newMeters, *begun)
	}
	l.last = &p
}

// known tells whether the register has the reading, or another value at its instant.
func (l *hourLine) known(h *hourReading, i int) bool {
	for k := max(i-1, 0); k < len(l.points) && l.points[k].at <= h.at; k++ {
		p := &l.points[k]
		same := math.Abs(p.shown-h.v.num) < 1e-6
		switch {
		case p.at == h.at && same, !h.timed && p.day == h.day && same && p.at > h.at-assets.Instant(25*time.Hour/time.Microsecond):
			h.stored = true
			return true
		case p.at == h.at:
			h.hold(heldSameInstant, fmt.Sprintf("the register has %s h at the same time; which one is right?", digits(p.shown)))
			return true
		}
	}
	return l.heldBefore(h)
}

// heldBefore tells whether the register holds this very reading, or a person left it out: it stays so.
func (l *hourLine) heldBefore(h *hourReading) bool {
	o := l.g.storedHeld(h)
	if o == nil || (o.Decision != "" && o.Decision != "left_out") {
		return false
	}
	text := "it waits for a person's decision already"
	if o.Decision != "" {
		text = "a person decided to leave it out"
	}
	h.hold(o.Class, text)
	return true
}

// stretch is the stretch of meter that begins with a reading which declares one: a new meter's, or a counter's next round.
// nil when the reading goes on with the meter there was.
func (l *hourLine) stretch(h *hourReading, before *point, offset float64) *assets.Meter {
	m := &assets.Meter{ConveyorID: l.conveyorID(), FromAt: h.at, ResolutionH: l.resolution(h)}
	switch {
	case h.event == newMeter:
		last := before.shown
		m.Why, m.StartH, m.PreviousFinalH = assets.MeterReplaced, h.start.num, &last
		if !h.start.set && h.v.num > elapsed(before, h.at, h.day, h.timed)+m.ResolutionH {
			m.StartH = h.v.num // a meter that was not new: where it began is not known
		}
		m.OffsetH = before.hours - m.StartH
	case h.event == rolledOver && h.v.num < before.shown:
		m.Why, m.RollsOverAtH = assets.MeterRolledOver, counterRange(before.shown)
		m.OffsetH = offset + m.RollsOverAtH
	default:
		return nil
	}
	return m
}

// counterRange is the next power of ten above a reading: a counter that showed 99 640 goes to 100 000.
func counterRange(shown float64) float64 {
	r := 10.0
	for r <= shown {
		r *= 10
	}
	return r
}

func (l *hourLine) conveyorID() int64 {
	if l.state == nil {
		return 0
	}
	return l.state.Conveyor.ID
}

// pair asks whether the hours from one point to a later one are possible.
func (l *hourLine) pair(h *hourReading, earlier, later, neighbour *point) {
	grown := later.hours - earlier.hours
	most := elapsed(earlier, later.at, later.day, later.timed)
	against := fmt.Sprintf("%s h on %s", digits(roundTo(neighbour.shown, 1e4)), neighbour.day)
	switch {
	case grown < -1e-6:
		text := "the meter would run backwards beside " + against + "; read it again, or say \"new meter\" or \"rolled over\" in a remark"
		if neighbour == earlier && counterRange(neighbour.shown)+grown <= most+1 && h.v.num < neighbour.shown {
			text += fmt.Sprintf(" (a counter that rolls over at %s would fit)", digits(counterRange(neighbour.shown)))
		}
		h.hold(heldBackwards, text)
	case grown > most+l.resolution(h)+1e-6:
		h.hold(heldTooFast, fmt.Sprintf("%s h in %s h beside %s is more than 24 h a day; read it again", digits(roundTo(grown, 10)), digits(roundTo(most, 10)), against))
	}
}

// elapsed counts the hours from a point to a later one; between dates without a time whole days of 24 hours.
func elapsed(earlier *point, at assets.Instant, day assets.Day, timed bool) float64 {
	if !earlier.timed && !timed {
		return 24 * float64(daysBetween(earlier.day, day))
	}
	return at.Time().Sub(earlier.at.Time()).Hours()
}

// hold keeps the reading for a person to decide.
func (h *hourReading) hold(class, text string) {
	h.held = class
	where := h.e.place()
	if h.c != nil {
		where += ", column " + columnTitle(h.c)
	}
	h.text = cutTo(fmt.Sprintf("%s: %s on %s: %s", where, quoted(h.v.text), h.day, text), 390)
}

// listHours lists the readings: held, or as records.
func (g *group) listHours() {
	for _, h := range g.hours {
		e := h.e
		e.used = true
		if h.held != "" {
			row := HeldRow{Sheet: e.t.sheet.Name, Row: e.row.Number, Class: h.held, Text: h.text, entry: e, cell: h.c}
			if row.Column = columnOf(h.c); h.c == nil {
				row.Column = columnOf(e.t.byField["meter_reading"])
			}
			g.j.out.Held = append(g.j.out.Held, row)
			e.held = h.c == nil
			continue
		}
		if h.c != nil {
			g.j.out.Rows.Accepted++
		}
		r := &Record{Kind: KindReading, Action: "created", Plant: g.p.name, Conveyor: g.conv.tag, Column: columnOf(h.c), Fields: h.fields(g), Remarks: h.remarks()}
		if h.stored {
			r.Action = "unchanged"
		}
		g.j.record(r, e)
	}
}

func columnOf(c *column) string {
	if c == nil {
		return ""
	}
	return columnName(c.col)
}

func (h *hourReading) fields(g *group) Fields {
	v := value{set: true, from: h.day, to: h.day, timed: h.timed}
	if h.timed {
		local := h.at.Time().In(g.p.zone)
		v.minute = int16(local.Hour()*60 + local.Minute())
	}
	out := Fields{{"taken_on", v.printedDate()}, {"meter_reading_h", h.v.num}}
	if h.c == nil {
		if t := h.e.remarkText(); t.set {
			out = append(out, Field{"remark", t.text})
		}
	}
	return out
}

func (h *hourReading) remarks() []Remark {
	var out []Remark
	if h.c == nil {
		out = append(out, h.e.remarks...)
	} else if h.e.row.Hidden {
		out = append(out, Remark{"hidden_row", "", "the row is hidden in the file"})
	}
	switch h.event {
	case newMeter:
		out = append(out, Remark{"meter_replaced", "meter_event", "a new meter starts with this reading"})
	case rolledOver:
		out = append(out, Remark{"rolled_over", "meter_event", "the counter went round before this reading"})
	}
	if h.approx != "" {
		out = append(out, Remark{"approximate_date", "taken_on", fmt.Sprintf("%s kept as its last day, %s", quoted(h.approx), h.day)})
	}
	return out
}
