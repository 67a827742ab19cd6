package web

import (
	"fmt"
	"strconv"
	"strings"

	"carryside/assets"
)

// Page is what every screen's page struct embeds: the screen sets the first group, the frame the rest.
type Page struct {
	Sheet string   // name in the title block and the browser's title: "Orders", "Conveyor Q3"
	Say   string   // the headline: one sentence with subject, verb and figure
	Sub   string   // scope and date, below it
	Do    []Action // buttons beside the headline; the last is the main one

	Frame
}

// Frame is the part of a page that is the same on every screen.
type Frame struct {
	F        Format
	Theme    string // light, dark or "": as the system says
	Path     string // of this page, for forms that come back to it
	Nav      []Link
	NavEnd   []Link
	Back     []Link
	Plant    *PlantFrame // nil on pages of no plant
	Who      string      // "I. Vanterel, planner"; "" when nobody is signed in
	Name     string      // "I. Vanterel"
	Notice   string      // what the last form did
	Find     string      // what was searched for
	Findable bool        // search is there
	Bare     bool        // people come by plain HTTP: the page says what that means
}

// PlantFrame is what every page of a plant says of it: head, belt bar and title block.
type PlantFrame struct {
	Plant       assets.Plant
	Conveyors   int            // in use
	Splices     int            // live
	HoursReadTo assets.Instant // newest accepted reading; 0: none
	Records     int64          // entries of the customer's journal; 0: not all of the customer's plants may be seen
}

// Link is a word that leads somewhere.
type Link struct {
	Word, To string
	Current  bool
	Gap      bool // a gap stands before it
}

// Action is a button of the headline: a link, or with Post a form of its own.
type Action struct {
	Word, To string
	Main     bool
	Print    bool // prints the page; shown with script only
}

// framed lets the frame be filled in whatever page struct embeds Page.
type framed interface{ page() *Page }

func (p *Page) page() *Page { return p }

// At returns an address below the plant's: At("orders", 412) is /plants/3/orders/412.
func (f Frame) At(parts ...any) string {
	if f.Plant == nil {
		return "/"
	}
	return at(f.Plant.Plant.ID, parts...)
}

func at(plantID int64, parts ...any) string {
	var b strings.Builder
	fmt.Fprintf(&b, "/plants/%d", plantID)
	for _, p := range parts {
		if id, ok := p.(int64); ok {
			p = numberInAddress(id)
		}
		fmt.Fprintf(&b, "/%v", p)
	}
	return b.String()
}

// numberInAddress writes a number of a thing. One below nought, as an occurrence of a recurring stop has, begins with 0, so that
// every part of an address that is a number begins with a digit.
func numberInAddress(id int64) string {
	if id < 0 {
		return "0" + strconv.FormatInt(id, 10)
	}
	return strconv.FormatInt(id, 10)
}

// Counts says what the plant has: "15 conveyors, 32 splices".
func (p *PlantFrame) Counts() string {
	if p.Conveyors == 0 {
		return "no conveyors yet"
	}
	return Figure(p.Conveyors, "conveyor", "conveyors") + ", " + Figure(p.Splices, "splice", "splices")
}

// ReadTo says to when running hours are read.
func (f Frame) ReadTo() string {
	if f.Plant == nil || f.Plant.HoursReadTo.IsZero() {
		return "no readings yet"
	}
	return f.F.Stamp(f.Plant.HoursReadTo)
}

// ReadToShort is ReadTo for the belt bar.
func (f Frame) ReadToShort() string {
	if f.Plant == nil || f.Plant.HoursReadTo.IsZero() {
		return "no readings yet"
	}
	return "Running hours read to " + hard(f.F.Local(f.Plant.HoursReadTo).Format("2 Jan 15:04"))
}

// Holds says as of when the sheet holds, and in whose time.
func (f Frame) Holds() string {
	now := assets.InstantOf(f.F.Now)
	return f.F.Stamp(now) + nb + f.F.Local(now).Format("MST")
}

// OtherTheme is the theme the button in the belt bar changes to.
func (f Frame) OtherTheme() string { return pick(f.Theme == "dark", "light", "dark") }
