package reports

import (
	"fmt"
	"regexp"
	"strings"

	"carryside/assets"
)

// Filter narrows a report by the names a plant's people use. An empty name means every one.
type Filter struct {
	Customer string `json:"customer,omitempty"`
	Plant    string `json:"plant,omitempty"`
	Line     string `json:"line,omitempty"`
	Conveyor string `json:"conveyor,omitempty"`
	Stop     string `json:"stop,omitempty"` // when it begins, in the plant's time, as StopLayout; of reports of stops
}

// StopLayout is how the beginning of a stop is written.
const StopLayout = "2006-01-02T15:04"

var filterPart = regexp.MustCompile(`(?:^|,)\s*([a-z]+)=`)

// ParseFilter reads "customer=…,plant=…,line=…,conveyor=…,stop=…", each part at most once and in any order. A
// name may hold commas. "" is everything.
func ParseFilter(s string) (Filter, error) {
	var f Filter
	wrong := func(text string, args ...any) (Filter, error) {
		return Filter{}, assets.Invalid{"scope": fmt.Sprintf(text, args...) + "; write it as customer=NAME,plant=NAME,line=NAME,conveyor=TAG"}
	}
	if strings.TrimSpace(s) == "" {
		return f, nil
	}
	at := filterPart.FindAllStringSubmatchIndex(s, -1)
	if len(at) == 0 || at[0][0] != 0 {
		return wrong("the scope %q names nothing", s)
	}
	for i, m := range at {
		end := len(s)
		if i+1 < len(at) {
			end = at[i+1][0]
		}
		name, value := s[m[2]:m[3]], strings.TrimSpace(s[m[1]:end])
		field := f.field(name)
		switch {
		case field == nil:
			return wrong("a scope has no part %q", name)
		case *field != "":
			return wrong("the scope names %s twice", name)
		case value == "":
			return wrong("the scope names no %s after %q", name, name+"=")
		}
		*field = value
	}
	return f, nil
}

func (f *Filter) field(name string) *string {
	switch name {
	case "customer":
		return &f.Customer
	case "plant":
		return &f.Plant
	case "line":
		return &f.Line
	case "conveyor":
		return &f.Conveyor
	case "stop":
		return &f.Stop
	}
	return nil
}

// Words says the scope; all is what everything is called.
func (f Filter) Words(all string) string {
	var parts []string
	for _, p := range []struct{ name, value string }{{"customer", f.Customer}, {"plant", f.Plant}, {"line", f.Line}, {"conveyor", f.Conveyor}, {"stop of", f.Stop}} {
		if p.value != "" {
			parts = append(parts, p.name+" "+p.value)
		}
	}
	if len(parts) == 0 {
		return all
	}
	return strings.Join(parts, ", ")
}

func sameName(want, name string) bool {
	return want == "" || assets.NameKey(want) == assets.NameKey(name)
}

func (f Filter) plant(p PlantName) bool {
	return sameName(f.Customer, p.Customer) && sameName(f.Plant, p.Name)
}

func (f Filter) conveyor(c assets.Conveyor, line string) bool {
	return sameName(f.Line, line) && (f.Conveyor == "" || assets.TagKey(f.Conveyor) == assets.TagKey(c.Tag))
}
