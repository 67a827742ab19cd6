package web

import (
	"net/http"
	"strings"
)

// findPage answers: where is what I have in mind? One hit leads there at once.
type findPage struct {
	Page
	Hits  []Link
	Says  []string
	Query string
}

func (s *Site) find(r *Request) error {
	q := strings.TrimSpace(r.Query("q"))
	p := &findPage{Query: q}
	p.Sheet = "Find"
	if q == "" {
		p.Say = "Give a conveyor, a splice or the number of an order"
		return r.Show("find", p)
	}
	hits, err := s.Finds.Find(r.Context(), r.Scope, r.PlantID(), q)
	if err != nil {
		return err
	}
	for _, h := range hits {
		p.Hits = append(p.Hits, Link{Word: h.Word, To: r.hitAddress(h)})
		p.Says = append(p.Says, h.Says)
	}
	if len(hits) == 1 {
		r.C.Redirect(http.StatusSeeOther, p.Hits[0].To)
		return nil
	}
	p.Say = Capital(Count(len(hits), "thing matches", "things match")) + " “" + q + "”"
	return r.Show("find", p)
}

func (r *Request) hitAddress(h Hit) string {
	switch {
	case h.Order != 0:
		return r.At("orders", h.Order)
	case h.SpliceID != 0:
		return r.At("splices", h.SpliceID)
	}
	return r.At("conveyors", h.ConveyorID)
}
