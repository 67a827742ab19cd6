package plan

// A Status says what is known about a plan.
type Status string

// The statuses of a plan.
const (
	Optimal    Status = "optimal"    // no plan is cheaper: the bound rounded up is the cost
	Feasible   Status = "feasible"   // legal; cheaper ones may exist
	Infeasible Status = "infeasible" // proven: the locks contradict each other or the rules
)

// A Plan is what the planner found.
type Plan struct {
	Status Status
	// Cost is the total of placement, set-up, call-out, left out and change; no plan can be cheaper than Bound.
	Cost, Bound int
	Placed      []Placed  // in the order of the case
	LeftOut     []LeftOut // in the order of the case
	// Conflict holds, when infeasible, sentences that name the locked jobs and what they fight over.
	Conflict []string
	// Steps is how many steps of the search were made.
	Steps int
}

// GapPercent is how far the cost may be above the least one, in per cent of the cost.
func (p *Plan) GapPercent() float64 {
	if p.Cost == 0 {
		return 0
	}
	return 100 * float64(p.Cost-p.Bound) / float64(p.Cost)
}

// A Placed job has its window, its start and who and what it is done with; all indices into the case.
type Placed struct {
	Job    int
	Window int
	Start  int
	Crew   []Member
	Tools  []int // in the order of the job's tools
}

// A Member is a person of a crew and what the person works as.
type Member struct{ Technician, Qualification int }

// A LeftOut job says why, and what would place it.
type LeftOut struct {
	Job     int
	Reasons []string
	Help    []string
	// Changes holds for each sentence of Help the change of the case that was tried.
	Changes [][]Change
}

// A Change is one alteration of a case: of a window's ends, of a person's or tool's availability or number, or of stock.
type Change struct {
	Kind ChangeKind
	// Of is the window, person, tool or item changed.
	Of int
	// Start and End are a window's new ends, negative where it keeps the old one, or the ends of an added stretch of availability.
	Start, End int
	// Quantity arrives at Time.
	Quantity, Time int
}

// A ChangeKind is what a change alters.
type ChangeKind int

// The kinds of change.
const (
	LongerStop      ChangeKind = iota // a window begins earlier or ends later
	PersonAvailable                   // a person is available for one more stretch
	ToolAvailable                     // a tool is available for one more stretch
	AnotherPerson                     // a second person like this one
	AnotherTool                       // a second tool like this one
	StockArrives                      // a quantity of an item arrives
)

// A Progress is what is told while the search goes on.
type Progress struct {
	Cost, Bound  int
	Placed, Jobs int
}

// GapPercent is the gap of the best plan so far.
func (p Progress) GapPercent() float64 {
	return (&Plan{Cost: p.Cost, Bound: p.Bound}).GapPercent()
}

// placements turns a state's placements into those of a plan.
func (p *problem) placements(at []placement) []Placed {
	out := make([]Placed, 0, len(at))
	for j := range at {
		if at[j].option >= 0 {
			out = append(out, p.placed(j, &at[j]))
		}
	}
	return out
}

// placed turns one placement into that of a plan.
func (p *problem) placed(j int, at *placement) Placed {
	t := &p.jobs[j]
	out := Placed{Job: j, Window: t.options[at.option].window, Start: at.start, Crew: make([]Member, 0, t.heads), Tools: make([]int, 0, len(at.tools))}
	head := 0
	for _, n := range t.needs {
		for range n.Number {
			out.Crew = append(out.Crew, Member{at.crew[head], n.Qualification})
			head++
		}
	}
	for _, r := range at.tools {
		out.Tools = append(out.Tools, r-p.people)
	}
	return out
}
