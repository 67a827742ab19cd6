package planfile

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"

	"carryside/schedule/plan"
)

// planned is the document of a plan.
type planned struct {
	Case     string      `json:"case"`
	Status   plan.Status `json:"status"`
	Cost     int         `json:"cost"`
	Bound    int         `json:"bound"`
	Gap      float64     `json:"gap"`
	Seconds  float64     `json:"seconds"`
	Seed     uint64      `json:"seed"`
	Jobs     []placed    `json:"jobs"`
	Unplaced []leftOut   `json:"unplaced"`
}

// placed is a job in a window.
type placed struct {
	Job    string   `json:"job"`
	Window string   `json:"window"`
	Start  int      `json:"start"`
	Crew   []member `json:"crew"`
	Tools  []string `json:"tools"`
}

// member is a person of a crew.
type member struct {
	Tech string `json:"tech"`
	Qual string `json:"qual"`
}

// leftOut is a job without a window.
type leftOut struct {
	Job     string     `json:"job"`
	Reasons []string   `json:"reasons"`
	Help    []string   `json:"help"`
	Changes [][]change `json:"changes"`
}

// change is one alteration of the case.
type change struct {
	Window   string `json:"window,omitempty"`
	Tech     string `json:"tech,omitempty"`
	Tool     string `json:"tool,omitempty"`
	Item     string `json:"item,omitempty"`
	Start    *int   `json:"start,omitempty"`
	End      *int   `json:"end,omitempty"`
	Avail    []int  `json:"avail,omitempty"`
	Copy     bool   `json:"copy,omitempty"`
	Quantity int    `json:"quantity,omitempty"`
	Time     *int   `json:"time,omitempty"`
}

// refused is the document of a case whose locks contradict each other.
type refused struct {
	Case     string      `json:"case"`
	Status   plan.Status `json:"status"`
	Conflict []string    `json:"conflict"`
	Seconds  float64     `json:"seconds"`
	Seed     uint64      `json:"seed"`
}

// Write writes the plan of a case as one JSON object; used is the time it took.
func Write(w io.Writer, c *plan.Case, p *plan.Plan, seed uint64, used time.Duration) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	seconds := math.Round(used.Seconds()*1000) / 1000
	if p.Status == plan.Infeasible {
		return e.Encode(&refused{c.ID, p.Status, p.Conflict, seconds, seed})
	}
	d := &planned{
		Case: c.ID, Status: p.Status, Cost: p.Cost, Bound: p.Bound, Gap: math.Round(p.GapPercent()*10_000) / 10_000, Seconds: seconds, Seed: seed,
		Jobs: make([]placed, 0, len(p.Placed)), Unplaced: make([]leftOut, 0, len(p.LeftOut)),
	}
	for i := range p.Placed {
		d.Jobs = append(d.Jobs, placedOf(c, &p.Placed[i]))
	}
	for i := range p.LeftOut {
		d.Unplaced = append(d.Unplaced, leftOutOf(c, &p.LeftOut[i]))
	}
	return e.Encode(d)
}

// placedOf names what a placed job refers to.
func placedOf(c *plan.Case, x *plan.Placed) placed {
	out := placed{c.Jobs[x.Job].ID, c.Windows[x.Window].ID, x.Start, make([]member, 0, len(x.Crew)), make([]string, 0, len(x.Tools))}
	for _, m := range x.Crew {
		out.Crew = append(out.Crew, member{c.Technicians[m.Technician].ID, c.Qualifications[m.Qualification]})
	}
	for _, k := range x.Tools {
		out.Tools = append(out.Tools, c.Tools[k].ID)
	}
	return out
}

// leftOutOf names what a job left out refers to.
func leftOutOf(c *plan.Case, x *plan.LeftOut) leftOut {
	out := leftOut{c.Jobs[x.Job].ID, x.Reasons, append([]string{}, x.Help...), make([][]change, 0, len(x.Changes))}
	for _, list := range x.Changes {
		set := make([]change, 0, len(list))
		for _, k := range list {
			set = append(set, changeOf(c, k))
		}
		out.Changes = append(out.Changes, set)
	}
	return out
}

// changeOf names what a change alters.
func changeOf(c *plan.Case, k plan.Change) change {
	switch k.Kind {
	case plan.LongerStop:
		return change{Window: c.Windows[k.Of].ID, Start: given(k.Start), End: given(k.End)}
	case plan.PersonAvailable:
		return change{Tech: c.Technicians[k.Of].ID, Avail: []int{k.Start, k.End}}
	case plan.ToolAvailable:
		return change{Tool: c.Tools[k.Of].ID, Avail: []int{k.Start, k.End}}
	case plan.AnotherPerson:
		return change{Tech: c.Technicians[k.Of].ID, Copy: true}
	case plan.AnotherTool:
		return change{Tool: c.Tools[k.Of].ID, Copy: true}
	default:
		return change{Item: c.Stock[k.Of].ID, Quantity: k.Quantity, Time: &k.Time}
	}
}

// given is a pointer to a minute that is not negative.
func given(minute int) *int {
	if minute < 0 {
		return nil
	}
	return &minute
}

// WriteProgress writes one line of progress.
func WriteProgress(w io.Writer, p plan.Progress, used time.Duration) error {
	_, err := fmt.Fprintf(w, "progress %.1f s cost %d bound %d gap %.2f %% placed %d of %d\n",
		used.Seconds(), p.Cost, p.Bound, p.GapPercent(), p.Placed, p.Jobs)
	return err
}
