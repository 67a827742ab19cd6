package web

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"math"
	"net/mail"
	"slices"
	"strconv"
	"time"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/calendar"
)

// entry reads a form that was sent, field by field, into what the register keeps, and gathers what is wrong.
// A field that cannot be read gives the zero value and a message; Err then refuses the whole form.
type entry struct {
	r     *Request
	f     *Form
	bad   assets.Invalid
	typed assets.AsTyped
}

func (r *Request) entry(f *Form) *entry {
	e := &entry{r: r, f: f, bad: assets.Invalid{}, typed: assets.AsTyped{}}
	for _, fd := range f.Fields {
		if message := fd.unfit(); message != "" && fd.touched() {
			e.bad.Add(fd.Name, message)
		}
	}
	return e
}

// Err returns what is wrong, nil when nothing is.
func (e *entry) Err() error { return e.bad.Err() }

// text returns what stands in a field.
func (e *entry) text(name string) string { return e.f.Value(name) }

// must returns what stands in a field and refuses an empty one; what names it in a sentence: "the tag".
func (e *entry) must(name, what string) string {
	text := e.text(name)
	if text == "" {
		e.bad.Add(name, "give "+what)
	}
	return text
}

// reason returns why something is corrected; a correction without a reason is refused.
func (e *entry) reason() string {
	return e.must("reason", "the reason: it is kept in the records with the correction")
}

// quantity reads a quantity in the plant's units into SI; empty gives 0. What was typed is kept, so that it
// comes back as it was.
func (e *entry) quantity(name string, field unit.Field) float64 {
	v := e.optional(name, field)
	if v == nil {
		return 0
	}
	return *v
}

// optional is quantity for a value of which 0 says something; empty gives nil.
func (e *entry) optional(name string, field unit.Field) *float64 {
	text := e.text(name)
	if text == "" {
		return nil
	}
	m, err := field.Parse(text, e.r.F.Units)
	if err != nil {
		e.bad.Add(name, err.Error())
		return nil
	}
	v := m.SI()
	e.typed[name] = text
	return &v
}

// notBelowNought is quantity for what cannot be below 0.
func (e *entry) notBelowNought(name, what string, field unit.Field) float64 {
	v := e.quantity(name, field)
	if v < 0 {
		e.bad.Add(name, what+" cannot be below 0")
	}
	return v
}

// mailAddress reads a mail address alone, as RFC 5322 writes it (3.4.1), without a name beside it; empty gives "".
func (e *entry) mailAddress(name string) string {
	text := e.text(name)
	if text == "" {
		return ""
	}
	if read, err := mail.ParseAddress(text); err != nil || read.Name != "" || read.Address != text {
		e.bad.Add(name, fmt.Sprintf("%q is no mail address; write it as permit.office@plant.example, or leave it empty", text))
		return ""
	}
	return text
}

// number reads a number without a unit; empty gives 0.
func (e *entry) number(name string) float64 {
	text := e.text(name)
	if text == "" {
		return 0
	}
	v, _, err := unit.ParseNumber(text)
	if err != nil {
		e.bad.Add(name, err.Error())
		return 0
	}
	x, _ := v.Float64()
	if math.IsInf(x, 0) {
		e.bad.Add(name, fmt.Sprintf("%q is too large a number; check the digits", text))
		return 0
	}
	return x
}

// whole reads a whole number in bounds; empty gives 0.
func (e *entry) whole(name string, least, most int) int {
	text := e.text(name)
	if text == "" {
		return 0
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < least || n > most {
		e.bad.Add(name, fmt.Sprintf("give a whole number from %d to %d", least, most))
		return 0
	}
	return n
}

// id reads the number of something chosen from a list; none gives 0.
func (e *entry) id(name string) int64 {
	text := e.text(name)
	n := numberOf(text)
	if n == 0 && text != "" && text != "0" {
		e.bad.Add(name, "choose from the list")
	}
	return n
}

// offered refuses what a field holds and its list did not offer: a number of something that whoever sends it may
// not know of.
func (e *entry) offered(name, message string) {
	fd := e.f.Get(name)
	if fd == nil {
		return
	}
	for _, value := range e.f.Values(name) {
		if !slices.ContainsFunc(fd.Options, func(o Option) bool { return o.Value == value }) {
			e.bad.Add(name, message)
		}
	}
}

// rowID is the row whose mark travelled with the form: 0 where there was none, and one that no row has where another row
// stands there by now.
func (e *entry) rowID() int64 {
	switch e.text("version") {
	case "", "0":
		return 0
	case markOf(e.f.read):
		return e.f.read.RowID
	}
	return -1
}

// numberOf reads a number that a form of ours carries; anything else gives 0.
func numberOf(text string) int64 {
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return 0
	}
	return n
}

// oneOf reads a choice; what is not among the values is refused, empty only where it is one of them.
func oneOf[T ~string](e *entry, name, message string, values ...T) T {
	v := T(e.text(name))
	if !slices.Contains(values, v) {
		e.bad.Add(name, message)
		return ""
	}
	return v
}

// moment reads a date with a time of the plant, YYYY-MM-DDTHH:MM; empty gives 0. A time that the clock
// skips is refused; of one that it shows twice the person says which is meant.
func (e *entry) moment(name string) assets.Instant {
	text := e.text(name)
	if text == "" {
		return 0
	}
	first, second, twice := e.r.F.bothShowings(text)
	if kept, ok := e.f.kept[name].(assets.Instant); ok && text == e.f.Plain.shownAt(kept) && (!twice || e.text(whichName(name)) == pick(kept.Time().Before(second), firstShowing, secondShowing)) {
		return kept
	}
	if twice {
		return e.whichMoment(name, first, second)
	}
	l, err := localTyped(text)
	if err != nil {
		e.bad.Add(name, fmt.Sprintf("%q is no date with a time; write it as 2026-11-25T14:30", text))
		return 0
	}
	at, showing := calendar.ZoneOf(e.r.F.zone()).Resolve(l)
	if showing == calendar.Skipped {
		e.bad.Add(name, fmt.Sprintf("the clock goes forward over %s that night and never shows it; give a time that it shows", l.Time))
		return 0
	}
	if assets.DayOf(at.In(e.r.F.zone())) < assets.FirstDay {
		e.bad.Add(name, tooEarly)
		return 0
	}
	return assets.InstantOf(at)
}

// tooEarly refuses a date before any that the register takes.
const tooEarly = "this lies before " + string(assets.FirstDay) + "; check the year"

// day reads a date; empty gives "".
func (e *entry) day(name string) assets.Day {
	text := e.text(name)
	if text == "" {
		return ""
	}
	d, err := calendar.ParseDate(text)
	if err != nil || d.IsZero() {
		e.bad.Add(name, fmt.Sprintf("%q is no date; write it as 2026-11-25", text))
		return ""
	}
	if assets.Day(text) < assets.FirstDay {
		e.bad.Add(name, tooEarly)
		return ""
	}
	return assets.Day(text)
}

// when reads a date of life as it is known, exact or in words; empty gives the zero When.
func (e *entry) when(name string) assets.When {
	text := e.text(name)
	if text == "" {
		return assets.When{}
	}
	if kept, ok := e.f.kept[name].(assets.When); ok && text == e.f.Plain.known(kept) {
		return kept
	}
	w, err := readWhen(text, e.r.F.zone(), e.r.Now)
	switch {
	case err != nil:
		e.bad.Add(name, err.Error())
	case w.TooEarly():
		e.bad.Add(name, tooEarly)
	}
	return w
}

// ---------- filling fields ----------

// plainInt writes a number as a form carries it: no thousands apart.
func plainInt(n int64) string { return strconv.FormatInt(n, 10) }

// plainNumber writes a number for a field; 0 stands for nothing known and gives "".
func plainNumber(x float64) string {
	if x == 0 {
		return ""
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// plainWhole is plainNumber for whole numbers.
func plainWhole(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// Quantity adds a quantity in the plant's units; 0 stands for not known and leaves the field empty. What was
// typed stands in it again as typed.
func (f *Form) Quantity(name, label string, field unit.Field, stored float64, typed assets.AsTyped) *Field {
	entry := ""
	if stored != 0 {
		entry = field.Entry(stored, typed[name], f.Plain.Units)
	}
	return f.Number(name, label, entry, field.Sign(f.Plain.Units))
}

// Optional is Quantity for a value of which 0 says something.
func (f *Form) Optional(name, label string, field unit.Field, stored *float64, typed assets.AsTyped) *Field {
	entry := ""
	if stored != nil {
		entry = field.Entry(*stored, typed[name], f.Plain.Units)
	}
	return f.Number(name, label, entry, field.Sign(f.Plain.Units))
}

// Known adds a date of life, which may be known in words only.
func (f *Form) Known(name, label string, w assets.When) *Field {
	f.keep(name, w)
	return f.Text(name, label, f.Plain.known(w)).Hinted("A day as 2026-11-25, or as it is known: spring 2022, 2019, before 2018, not known")
}

// known writes a date of life so that reading it again gives the same.
func (f Format) known(w assets.When) string {
	switch {
	case w.IsZero():
		return ""
	case w.AsWritten != "":
		return w.AsWritten
	case w.Timed:
		return f.Local(w.At).Format("2006-01-02 15:04")
	case w.Exact():
		return string(w.Earliest)
	}
	return f.When(w)
}

// At adds a moment of the plant.
func (f *Form) At(name, label string, at assets.Instant) *Field {
	f.keep(name, at)
	fd := f.Moment(name, label, f.Plain.shownAt(at)).Hinted("Plant time, " + f.Plain.zone().String())
	f.askWhich(fd, at)
	return fd
}

// shownAt writes an instant as a moment field shows it, to the minute.
func (f Format) shownAt(at assets.Instant) string {
	if at == 0 {
		return ""
	}
	return f.Local(at).Format("2006-01-02T15:04")
}

// keep remembers a date as it is kept: a field shows less of it than there is.
func (f *Form) keep(name string, v any) {
	if f.kept == nil {
		f.kept = map[string]any{}
	}
	f.kept[name] = v
}

// choices makes options of values; none is the label of "", left out when "".
func choices[T ~string](none string, values []T, words func(T) string) []Option {
	var out []Option
	if none != "" {
		out = append(out, Option{Label: none})
	}
	for _, v := range values {
		out = append(out, Option{Value: string(v), Label: words(v)})
	}
	return out
}

// token makes a key that travels with a form, so that sending it twice records once.
func token() string {
	var b [12]byte
	if _, err := rand.Read(b[:]); err != nil {
		return "" // without chance a form has no key and is recorded each time it is sent
	}
	return hex.EncodeToString(b[:])
}

// thisMinute is now as a form offers it: to the minute, so that a form sent twice says the same twice.
func (r *Request) thisMinute() assets.Instant { return assets.InstantOf(r.Now.Truncate(time.Minute)) }
