package calc

import (
	"fmt"
	"strings"

	"carryside/assets/unit"
)

// unitKinds are typed lengths, factors and temperatures, the four lists of one file.
var unitKinds = map[string]Kind{"units": units}

// Decimals of exact values as they are printed; a value that ends earlier is printed whole.
const (
	lengthDecimals      = 12
	factorDecimals      = 15
	temperatureDecimals = 12
)

// units tells the four lists apart by their name, in a bare array by the fields of the case.
func units(c *Case) (any, error) {
	list := c.List
	if list == "" {
		list = unitList(c)
	}
	switch list {
	case "lengths":
		return typedLength(c)
	case "factors":
		return factor(c)
	case "temperatures":
		return temperature(c)
	case "si_shown_in_us":
		return shownInUS(c)
	}
	return nil, fmt.Errorf("case %s stands in the list %q; the lists are lengths, factors, temperatures and si_shown_in_us", c.where, list)
}

// unitList guesses the list of a case that stands in a bare array.
func unitList(c *Case) string {
	switch {
	case c.Has("other_unit"):
		return "temperatures"
	case c.Has("si_unit") || c.Has("value"):
		return "factors"
	case c.Has("mm") && !c.Has("typed"):
		return "si_shown_in_us"
	}
	return "lengths"
}

// typedLength reads a length with no unit of a field to fall back on.
func typedLength(c *Case) (any, error) {
	typed := c.Text("typed")
	if c.Err() != nil {
		return nil, nil
	}
	m, err := unit.ParseLength(typed, "")
	if err != nil {
		return nil, err
	}
	mm, err := m.In("mm")
	if err != nil {
		return nil, err
	}
	return map[string]any{"mm": unit.Plain(mm, lengthDecimals), "shown_us": m.US(), "shown_si_mm": unit.Fixed(mm, 1)}, nil
}

// factor converts a value of a customary unit and shows it in both.
func factor(c *Case) (any, error) {
	value, from, to := c.number("value"), c.Text("unit"), c.Text("si_unit")
	if c.Err() != nil {
		return nil, nil
	}
	m, err := unit.New(value, from)
	if err != nil {
		return nil, err
	}
	si, err := m.In(to)
	if err != nil {
		return nil, err
	}
	shown, err := m.ShownIn(to)
	if err != nil {
		return nil, err
	}
	return map[string]any{"si_value": unit.Plain(si, factorDecimals), "shown_si": shown, "shown_back": m.Shown()}, nil
}

// temperature converts a temperature, or a difference of two, which has no display of its own.
func temperature(c *Case) (any, error) {
	value, from, to := c.number("value"), c.Text("unit"), c.Text("other_unit")
	if c.Err() != nil {
		return nil, nil
	}
	m, err := unit.New(value, from)
	if err != nil {
		return nil, err
	}
	other, err := m.In(to)
	if err != nil {
		return nil, err
	}
	result := map[string]any{"other_value": unit.Plain(other, temperatureDecimals)}
	if m.Unit.Dimension == unit.Temperature {
		if result["shown_back"], result["shown_other"], err = m.ShownTemperatures(to); err != nil {
			return nil, err
		}
	}
	return result, nil
}

// shownInUS shows stored millimetres to a reader of US customary units.
func shownInUS(c *Case) (any, error) {
	value := c.number("mm")
	if c.Err() != nil {
		return nil, nil
	}
	m, err := unit.New(value, "mm")
	if err != nil {
		return nil, err
	}
	return map[string]any{"shown_us": m.US()}, nil
}

// number reads a needed number, written as a number or as text, as it is written: its decimals say how it is shown.
func (f *Fields) number(name string) string {
	raw := strings.TrimSpace(string(f.Raw(name)))
	if raw == "" || raw[0] == '"' {
		return f.Text(name)
	}
	f.Number(name)
	return raw
}
