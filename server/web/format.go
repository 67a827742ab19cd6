package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/unit"
)

// nb is the hard space that stands between a number and its unit and between thousands, so that a figure
// never breaks over two lines.
const nb = "\u00a0"

// Format writes numbers, units, dates and times the one way every screen shows them: hard spaces, the
// plant's unit system, the plant's time, 24 h clock.
type Format struct {
	Zone  *time.Location
	Units assets.UnitSystem
	Now   time.Time
}

// Int writes a whole number with thousands set apart: "12 940".
func Int(n int64) string {
	s := strconv.FormatInt(n, 10)
	sign := ""
	if s[0] == '-' {
		sign, s = "−", s[1:]
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + nb + s[i:]
	}
	return sign + s
}

// Num writes a number with so many decimals and thousands set apart: "10 408.5".
func Num(x float64, decimals int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "not known"
	}
	s := strconv.FormatFloat(math.Abs(x), 'f', decimals, 64)
	whole, frac, _ := strings.Cut(s, ".")
	n, err := strconv.ParseInt(whole, 10, 64)
	if err != nil {
		return s
	}
	out := Int(n)
	if frac != "" {
		out += "." + frac
	}
	if x < 0 && strings.Trim(s, "0.") != "" {
		out = "−" + out
	}
	return out
}

// Short writes a number with at most so many decimals, trailing zeros dropped: "2.6", "3".
func Short(x float64, decimals int) string {
	s := Num(x, decimals)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// Percent writes a share as a whole per cent: "106 %".
func Percent(share float64) string { return Num(math.Floor(share*100+0.5), 0) + nb + "%" }

// With joins a number as written and its unit by a hard space; "" stays "".
func With(number, unit string) string {
	if number == "" || unit == "" {
		return number
	}
	return number + nb + unit
}

var numberWords = [...]string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

// Word writes a number of things as sentences do: in words up to twelve, in figures above; 0 is "no".
func Word(n int) string {
	if n >= 0 && n < len(numberWords) {
		return numberWords[n]
	}
	return Int(int64(n))
}

// Count writes a number of things in words and their noun in the right number: "no splices", "one splice",
// "15 conveyors".
func Count(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	return Word(n) + nb + many
}

// Figure writes a number of things with the number in figures: "1 splice", "0 splices".
func Figure(n int, one, many string) string {
	if n == 1 {
		return "1" + nb + one
	}
	return Int(int64(n)) + nb + many
}

// Capital writes a sentence's first letter large.
func Capital(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

// fullStop ends a sentence that has no end yet.
func fullStop(s string) string {
	if s == "" || strings.HasSuffix(s, ".") || strings.HasSuffix(s, "?") {
		return s
	}
	return s + "."
}

// List joins names as a sentence does: "S1", "S1 and S3", "S1, S2 and S3".
func List(names []string) string {
	switch n := len(names); n {
	case 0:
		return ""
	case 1:
		return names[0]
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
}

// us tells whether lengths are shown in feet and inches.
func (f Format) us() bool { return f.Units == assets.UnitsUS }

// show writes a stored value of a field of the register in the plant's unit; 0 is not known.
func (f Format) show(field unit.Field, stored float64) string {
	if stored == 0 {
		return "not known"
	}
	return field.Show(stored, f.Units)
}

// Distance writes a length along the conveyor: centres, a place on the belt.
func (f Format) Distance(m float64) string { return unit.Distance.Show(m, f.Units) }

// Centres writes a distance of centres; 0 is not known.
func (f Format) Centres(m float64) string { return f.show(unit.Distance, m) }

// Loop writes the length of a belt loop; 0 is not known.
func (f Format) Loop(m float64) string { return f.show(unit.LoopLength, m) }

// Width writes a belt width; 0 is not known.
func (f Format) Width(m float64) string { return f.show(unit.Width, m) }

// Diameter writes a pulley diameter; 0 is not known.
func (f Format) Diameter(m float64) string { return f.show(unit.Diameter, m) }

// Thickness writes a belt's thickness; 0 is not known.
func (f Format) Thickness(m float64) string { return f.show(unit.Thickness, m) }

// Travel writes a stretch of take-up travel, zero included.
func (f Format) Travel(m float64) string { return unit.Travel.Show(m, f.Units) }

// Speed writes a belt speed; 0 is not known.
func (f Format) Speed(mps float64) string { return f.show(unit.BeltSpeed, mps) }

// Tension writes a working tension per belt width; 0 is not known.
func (f Format) Tension(nPerM float64) string { return f.show(unit.BeltTension, nPerM) }

// Heat writes a temperature.
func (f Format) Heat(c float64) string { return unit.Heat.Show(c, f.Units) }

func pick(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

// Hours writes running hours: "10 408".
func Hours(h float64) string { return Num(h, 0) }

// Duration writes a stretch of work in hours and minutes: "11 h", "3 h 10 min".
func Duration(h float64) string {
	min := int64(math.Round(h * 60))
	switch {
	case min < 60:
		return With(Int(min), "min")
	case min%60 == 0:
		return With(Int(min/60), "h")
	}
	return With(Int(min/60), "h") + nb + With(Int(min%60), "min")
}

// Local returns an instant in the plant's time.
func (f Format) Local(i assets.Instant) time.Time { return i.Time().In(f.zone()) }

var utc = time.UTC

func (f Format) zone() *time.Location {
	if f.Zone == nil {
		return time.UTC
	}
	return f.Zone
}

// Today is the plant's date now.
func (f Format) Today() assets.Day { return assets.DayOf(f.Now.In(f.zone())) }

// Date writes the plant's date of an instant: "12 Dec 2026", with the weekday within three weeks of now.
func (f Format) Date(i assets.Instant) string {
	if i.IsZero() {
		return ""
	}
	return f.Day(assets.DayOf(f.Local(i)))
}

// Stamp writes date and time: "24 Nov 2026, 18:00".
func (f Format) Stamp(i assets.Instant) string {
	if i.IsZero() {
		return ""
	}
	t := f.Local(i)
	return hard(t.Format("2 Jan 2006")) + ", " + t.Format("15:04")
}

// Day writes a date: "12 Dec 2026"; within three weeks of now with its weekday: "Sat 12 Dec 2026".
func (f Format) Day(d assets.Day) string {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return string(d)
	}
	today, _ := time.Parse(time.DateOnly, string(f.Today()))
	if away := t.Sub(today).Hours() / 24; math.Abs(away) <= 21 {
		return hard(t.Format("Mon 2 Jan 2006"))
	}
	return hard(t.Format("2 Jan 2006"))
}

// PlainDay writes a date without a weekday.
func (f Format) PlainDay(d assets.Day) string {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return string(d)
	}
	return hard(t.Format("2 Jan 2006"))
}

// LongDay writes a date in full: "Wednesday 25 November 2026".
func (f Format) LongDay(d assets.Day) string {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return string(d)
	}
	return t.Format("Monday 2 January 2006")
}

// When writes a date of the register as it is known: an approximate one in its own words.
func (f Format) When(w assets.When) string {
	switch {
	case w.IsZero():
		return "not known"
	case w.AsWritten != "":
		return w.AsWritten
	case w.Timed:
		return f.Stamp(w.At)
	case w.Exact():
		return f.PlainDay(w.Earliest)
	case w.Earliest != "" && w.Latest != "":
		return f.PlainDay(w.Earliest) + " to " + f.PlainDay(w.Latest)
	case w.Latest != "":
		return "by " + f.PlainDay(w.Latest)
	case w.Earliest != "":
		return "not before " + f.PlainDay(w.Earliest)
	}
	return "not known"
}

// Days counts the whole days between an instant and now, never below zero.
func (f Format) Days(i assets.Instant) int64 {
	d := f.Now.Sub(i.Time())
	if d < 0 || i.IsZero() {
		return 0
	}
	return int64(d / (24 * time.Hour))
}

// Once writes the time a belt needs once round its loop: "once round in 96.5 s".
func Once(loopM, mps float64) string {
	if loopM <= 0 || mps <= 0 {
		return ""
	}
	s := loopM / mps
	if s >= 600 {
		return fmt.Sprintf("once round in %s", With(Num(s/60, 1), "min"))
	}
	return fmt.Sprintf("once round in %s", With(Num(s, 1), "s"))
}

func hard(s string) string { return strings.ReplaceAll(s, " ", nb) }

// lower writes a sentence's first letter small.
func lower(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return strings.ToLower(string(r[:1])) + string(r[1:])
}
