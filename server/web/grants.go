package web

import (
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// grantLine is a grant in words: the role, where it holds, who gave it.
type grantLine struct{ ID, Role, Where, Time, By, At string }

// placeNames is the names of the places a grant can be for.
type placeNames struct {
	all       bool // every plant at once too
	customers []assets.Customer
	plants    []assets.Plant
}

func (s *Site) places(r *Request) (n placeNames, err error) {
	n.all, _, _ = r.keep().Reaches()
	n.customers, n.plants, err = s.staff.Places(r.Context(), r.keep())
	return n, err
}

// where says in words where a grant holds.
func (n placeNames) where(g assets.Grant) string {
	switch {
	case g.PlantID != 0:
		for _, p := range n.plants {
			if p.ID == g.PlantID {
				return p.Name
			}
		}
		return "a plant that is no more"
	case g.CustomerID != 0:
		for _, c := range n.customers {
			if c.ID == g.CustomerID {
				return "every plant of " + c.Name
			}
		}
		return "a customer that is no more"
	}
	return "every plant"
}

// options are the places as a form offers them.
func (n placeNames) options() []Option {
	var options []Option
	if n.all {
		options = append(options, Option{Value: "all", Label: "every plant"})
	}
	for _, c := range n.customers {
		options = append(options, Option{Value: "c" + plainInt(c.ID), Label: "every plant of " + c.Name})
	}
	for _, p := range n.plants {
		options = append(options, Option{Value: "p" + plainInt(p.ID), Label: p.Name})
	}
	return options
}

func (r *Request) grantLines(grants []assets.GrantGiven, names placeNames) []grantLine {
	lines := make([]grantLine, len(grants))
	for i, g := range grants {
		lines[i] = grantLine{ID: plainInt(g.ID), Time: names.time(r, g.Grant), Role: string(g.Role), Where: pick(g.Role == assets.RoleAdministrator, "accounts and grants for ", "") + names.where(g.Grant), By: pick(g.By == "", "at sign-up", g.By), At: r.F.Stamp(g.At)}
	}
	return lines
}

// zone is that of the plant a grant is for; grants for more are counted in UTC days.
func (n placeNames) zone(g assets.Grant) *time.Location {
	for _, p := range n.plants {
		if p.ID == g.PlantID {
			return p.Location()
		}
	}
	return time.UTC
}

// time says in words when a grant holds; "" for one that holds until it is taken back.
func (n placeNames) time(r *Request, g assets.Grant) string {
	f := Format{Zone: n.zone(g), Units: r.F.Units, Now: r.Now}
	now := assets.InstantOf(r.Now)
	var words []string
	if g.FromAt != nil && *g.FromAt > now {
		words = append(words, "from "+f.Date(*g.FromAt))
	}
	if g.UntilAt != nil {
		words = append(words, pick(g.Over(now), "over since ", "up to ")+f.Date(*g.UntilAt-1)) // its end is the midnight after its last day
	}
	return strings.Join(words, ", ")
}

// ownGrants is what whoever asks may, in words. Places are not named: the plants of the grant are a page of their own.
func (r *Request) ownGrants() []grantLine {
	var lines []grantLine
	for _, g := range r.Who.Grants {
		where := "every plant"
		switch {
		case g.PlantID != 0:
			where = "a plant"
		case g.CustomerID != 0:
			where = "the plants of a customer"
		}
		if g.Role == assets.RoleAdministrator {
			where = "accounts and grants for " + where
		}
		lines = append(lines, grantLine{Role: string(g.Role), Where: where, Time: placeNames{}.time(r, g)})
	}
	return lines
}

// grantFields are the fields of a grant.
func grantFields(f *Form, names placeNames) []*Field {
	var roles []Option
	for _, role := range people.Roles {
		roles = append(roles, Option{Value: string(role), Label: string(role)})
	}
	return []*Field{
		f.Select("role", "Role", string(assets.RoleTechnician), roles).Hinted("An administrator keeps accounts and grants and sees no plant by it"),
		f.Select("where", "Where", "all", names.options()),
		f.Date("from", "First day", "").Hinted("Empty: from now on"),
		f.Date("until", "Last day", "").Hinted("Empty: until it is taken back. After it nothing is seen any more. Days are the plant's own; for more than one plant, UTC"),
	}
}

// grant reads the fields of a grant.
func (e *entry) grant(personID int64, names placeNames) assets.Grant {
	g := assets.Grant{PersonID: personID, Role: assets.Role(e.text("role"))}
	if !people.Known(g.Role) {
		e.bad.Add("role", "choose a role from the list")
	}
	where := e.text("where")
	switch id := numberOf(strings.TrimLeft(where, "cp")); {
	case where == "all":
	case strings.HasPrefix(where, "c") && id > 0:
		g.CustomerID = id
	case strings.HasPrefix(where, "p") && id > 0:
		g.PlantID = id
	default:
		e.bad.Add("where", "choose a place from the list")
	}
	g.FromAt, g.UntilAt = e.bound("from", names.zone(g), assets.Day.Midnight), e.bound("until", names.zone(g), assets.Day.End)
	return g
}

// bound reads a day at which a grant begins or ends; nil without one.
func (e *entry) bound(name string, zone *time.Location, edge func(assets.Day, *time.Location) (time.Time, error)) *assets.Instant {
	day := e.day(name)
	if day == "" {
		return nil
	}
	at, err := edge(day, zone)
	if err != nil {
		e.bad.Add(name, err.Error())
		return nil
	}
	i := assets.InstantOf(at)
	return &i
}

// giveGrant gives a person a further grant.
func (s *Site) giveGrant(r *Request) error {
	m, err := s.member(r)
	if err != nil {
		return err
	}
	names, err := s.places(r)
	if err != nil {
		return err
	}
	e := r.entry(r.NewForm())
	grantFields(e.f, names)
	g := e.grant(m.Person.ID, names)
	if err = e.Err(); err == nil {
		err = s.staff.GiveGrant(r.Context(), r.keep(), r.Who.Person.ID, g)
	}
	return s.afterwards(r, m.Person.ID, err, m.Person.Name+" is "+string(g.Role)+" now.")
}

// endGrant takes a grant back.
func (s *Site) endGrant(r *Request) error {
	m, err := s.member(r)
	if err != nil {
		return err
	}
	id := numberOf(r.C.Request.PostForm.Get("grant"))
	if id <= 0 {
		return assets.ErrNotFound
	}
	err = s.staff.EndGrant(r.Context(), r.keep(), r.Who.Person.ID, m.Person.ID, id)
	return s.afterwards(r, m.Person.ID, err, "The grant is taken back.")
}
