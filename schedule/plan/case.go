package plan

import "strconv"

// A Case is the closed problem. Every reference is an index into the list it names: a job's Conveyor is a place in Conveyors, an
// Option's Window a place in Windows. Whoever builds a Case answers for its being well formed; planfile checks those that come as files.
type Case struct {
	ID    string
	Title string
	// Horizon is the length of the planned time in minutes.
	Horizon int
	Sites   []string
	// Travel[a][b] is the way from site a to site b in minutes; it need not be symmetric and keeps the triangle inequality.
	Travel      [][]int
	Groups      []Group
	Conveyors   []Conveyor
	Windows     []Window
	Technicians []Technician
	Tools       []Tool
	Stock       []Item
	Jobs        []Job
	// Exclusions are pairs of jobs that may not run at the same time.
	Exclusions  [][2]int
	Precedences []Precedence
	// Qualifications and Classes are the names that Crew, Qualification and Tools refer to by index.
	Qualifications []string
	Classes        []string
	// Moment writes a minute of the case as its readers know it at a site ("12 Dec, 08:30"); nil writes the number.
	Moment func(site, minute int) string `json:"-"`
	// Price writes a cost of the case as its readers know it ("19 090 NOK"); nil writes the number.
	Price func(cost int) string `json:"-"`
	// Amount writes a quantity of an item as its readers know it ("2.5 kg"); nil writes the number.
	Amount func(item, quantity int) string `json:"-"`
}

// price writes a cost for a sentence.
func (c *Case) price(cost int) string {
	if c.Price == nil {
		return strconv.Itoa(cost)
	}
	return c.Price(cost)
}

// amount writes a quantity of an item for a sentence.
func (c *Case) amount(item, quantity int) string {
	if c.Amount == nil {
		return strconv.Itoa(quantity)
	}
	return c.Amount(item, quantity)
}

// at writes a minute for a sentence of a site.
func (c *Case) at(site, minute int) string {
	if c.Moment == nil {
		return strconv.Itoa(minute)
	}
	return c.Moment(site, minute)
}

// A Group is an isolation group: conveyors that are isolated together before work and restarted together after it.
type Group struct {
	ID   string
	Site int
	// Isolate and Restart are minutes at the beginning and the end of a window that work with isolation cannot use.
	Isolate, Restart int
	// Setup is the cost of one isolation.
	Setup int
}

// A Conveyor stands at the site of its group.
type Conveyor struct {
	ID    string
	Group int
}

// A Window is an agreed stop of some conveyors of one site.
type Window struct {
	ID         string
	Site       int
	Start, End int
	// Scope lists the conveyors that stand still.
	Scope []int
}

// Minutes is how long the window is.
func (w *Window) Minutes() int { return w.End - w.Start }

// A Span is a stretch of time, From inclusive, To exclusive.
type Span struct{ From, To int }

// A Qualification is what a person may work as, and while when.
type Qualification struct {
	Name int
	Span
}

// A Technician is a person of the crews.
type Technician struct {
	ID             string
	Home           int
	Qualifications []Qualification
	// Available holds sorted, disjoint stretches; the way to a job and back home must fit in as well.
	Available []Span
	// Callout is the cost of a window away from home, and CalloutWindows those of single windows, home or away.
	Callout        int
	CalloutWindows map[int]int
}

// CalloutIn is what calling the person into window w, at the given site, costs.
func (t *Technician) CalloutIn(w, site int) int {
	if cost, listed := t.CalloutWindows[w]; listed {
		return cost
	}
	if site == t.Home {
		return 0
	}
	return t.Callout
}

// A Tool is a press, a cutter or other kit that is in one place at a time.
type Tool struct {
	ID      string
	Class   int
	WidthMM int
	// HeatC is the highest temperature it reaches, degrees Celsius. Cases that come as files have none.
	HeatC     int `json:",omitempty"`
	Site      int
	Mobile    bool
	Available []Span
	// Barred says in words why it is not available for longer ("its calibration is due on 3 Dec"); "" where nothing is to be said.
	Barred string `json:",omitempty"`
}

// Suits tells whether the tool is of the class asked for, wide and hot enough.
func (t *Tool) Suits(n ToolNeed) bool {
	return t.Class == n.Class && t.WidthMM >= n.WidthMM && t.HeatC >= n.HeatC
}

// An Item of stock is taken when a job starts.
type Item struct {
	ID       string
	OnHand   int
	Arrivals []Arrival
	// Expire is what of the quantity on hand goes out of date: at a time, so much of it as was not taken before, first what expires first.
	// Cases that come as files have none.
	Expire []Arrival `json:",omitempty"`
}

// lasting is what of the quantity on hand is still good after a time.
func (x *Item) lasting(after int) int {
	n := x.OnHand
	for _, e := range x.Expire {
		if e.Time <= after {
			n -= e.Quantity
		}
	}
	return max(0, n)
}

// An Arrival adds to an item's stock.
type Arrival struct{ Time, Quantity int }

// A Job is an order to be placed in a window or left out.
type Job struct {
	ID       string
	Kind     string
	Conveyor int
	Duration int
	Crew     []CrewNeed
	Tools    []ToolNeed
	Stock    []StockNeed
	Release  int
	// Deadline is the latest end, none when negative.
	Deadline int
	// Isolation says that the group is isolated for the job.
	Isolation bool
	// Options are the windows the job may be done in, ascending by window.
	Options []Option
	// Unplaced is the cost of leaving the job out.
	Unplaced int
	Locked   *Lock
	Previous *Previous
}

// A CrewNeed asks for so many persons of a qualification.
type CrewNeed struct{ Qualification, Number int }

// A ToolNeed asks for one tool of a class, at least so wide, that reaches a temperature. Cases that come as files ask for none.
type ToolNeed struct {
	Class, WidthMM int
	HeatC          int `json:",omitempty"`
}

// A StockNeed takes a quantity of an item.
type StockNeed struct{ Item, Quantity int }

// An Option is a window a job may be done in, and what leaving its own best date costs there.
type Option struct{ Window, Cost int }

// A Lock holds a job in its window, and at its start, with its persons and tools where they are given.
type Lock struct {
	Window int
	// Start is the locked minute, none when negative.
	Start       int
	Technicians []int
	Tools       []int
}

// A Previous is a job's place in the published plan; a window or person that is gone has the index Gone.
type Previous struct {
	Window       int
	Technicians  []int
	ChangeWindow int
	ChangeTech   int
}

// Gone stands for a window or a person of the published plan that the case no longer knows.
const Gone = -1

// A Precedence asks that After starts MinLag to MaxLag minutes after Before ended; MaxLag is negative when there is none.
type Precedence struct {
	Before, After  int
	MinLag, MaxLag int
}

// OptionIn is the job's option in window w.
func (j *Job) OptionIn(w int) (Option, bool) {
	for _, o := range j.Options {
		if o.Window == w {
			return o, true
		}
	}
	return Option{}, false
}
