package intake

import (
	"fmt"
	"strconv"

	"carryside/assets"
)

// dateOf reads a date cell as far as the cell itself settles it.
func (r *reader) dateOf(cell Cell, order dateOrder) readDateResult {
	if cell.Kind == Text && r.book.Epoch1904 {
		if n, err := strconv.ParseFloat(trimmed(cell.Text), 64); err == nil && n >= 20000 && n <= 60000 {
			cell = Cell{Kind: Number, Number: n}
		}
	}
	if cell.Kind != Number {
		return readDate(r.book.shown(cell), order)
	}
	n := cell.Number
	switch {
	case r.book.style(cell).Date, n >= 20000 && n <= 60000:
		d, minute, ok := serialDay(n, r.book.Epoch1904)
		if !ok {
			return noDate()
		}
		res := exactly(d)
		res.minute, res.timed = minute, minute > 0
		return res
	}
	return readDate(digits(n), order)
}

// date reads a date cell and takes it into the row.
func (r *reader) date(e *entry, c *column, cell Cell, shown string) {
	d := r.dateOf(cell, c.order)
	if d.blank {
		return
	}
	f := d.fault
	if f == "" && (d.earliest > r.today || (d.latest != "" && d.latest < assets.FirstDay)) {
		f = faultDateRange
	}
	if f == "" && d.approximate && (c.f.name == "taken_on" || c.f.name == "found_on") {
		e.refuse(c, faultNoDate, shown, "is not a day, and a "+string(c.f.kind)+" needs one; write the day, such as 2025-04-03")
		return
	}
	if f != "" {
		e.refuse(c, f, shown, dateWhy(f, c, d))
		return
	}
	v := value{set: true, from: d.earliest, to: d.latest}
	if c.f.name == "taken_on" && d.timed {
		v.timed, v.minute = true, int16(d.minute)
	}
	r.approximateRemark(e, c, shown, d, &v)
	if d.twoWays && c.order != orderOpen && c.guessedOrder() {
		e.remark("date_order_guessed", c.f.name, fmt.Sprintf("%s read day first, as is common practice in the language of the headings: %s", quoted(shown), d.earliest))
	}
	r.take(e, c, v)
}

// approximateRemark keeps the words of an approximate date.
func (r *reader) approximateRemark(e *entry, c *column, shown string, d readDateResult, v *value) {
	if !d.approximate {
		return
	}
	v.text = trimmed(shown)
	text := fmt.Sprintf("%s kept as %s", quoted(shown), intervalWords(d.earliest, d.latest))
	if d.season {
		text += " (seasons of the northern half of the earth)"
	}
	e.remark("approximate_date", c.f.name, text)
}

func intervalWords(from, to assets.Day) string {
	switch {
	case from == "" && to == "":
		return "not known"
	case from == "":
		return "not after " + string(to)
	case to == "":
		return "not before " + string(from)
	}
	return string(from) + " to " + string(to)
}

// dateWhy says why a date cannot be taken; for an open one with both days.
func dateWhy(f fault, c *column, d readDateResult) string {
	if f == faultOpenDate && d.dmy != "" && d.mdy != "" {
		because := "nothing in the column tells which"
		if c.mixedOrders {
			because = "the column holds dates of both orders"
		}
		return fmt.Sprintf("can be %s or %s and %s: give --date-order dmy or mdy", d.dmy, d.mdy, because)
	}
	return why(f, c)
}

// guessedOrder tells whether the column's order rests on the language of its headings alone.
func (c *column) guessedOrder() bool { return c.byLanguage }

// settleOrder decides the order of a column's open dates: told, else the heading's own hint, else the column's own
// evidence, else the language of the headings.
func (r *reader) settleOrder(t *table, c *column, rows []*Row) {
	hint := c.order
	c.order = r.told
	if c.order != orderOpen {
		return
	}
	if hint != orderOpen {
		c.order = hint
		return
	}
	var all []readDateResult
	for _, row := range rows {
		cell := row.at(c.col)
		if cell.Kind == Text && len(cell.Text) < 40 && hasDigit(cell.Text) {
			if d := readDate(cell.Text, orderOpen); d.fault == "" && !d.twoWays {
				all = append(all, d)
			}
		}
	}
	c.order, c.mixedOrders = orderOf(all)
	if c.order == orderOpen && !c.mixedOrders && (t.lang == german || t.lang == spanish) {
		c.order, c.byLanguage = orderDMY, true
	}
}
