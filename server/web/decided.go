package web

import "carryside/assets"

// decidedPage answers: which readings contradicted the others at this plant, and who decided what about each?
type decidedPage struct {
	Page
	Rows  []decidedRow
	Pager Pager
}

type decidedRow struct {
	Tag, To string
	decidedLine
}

// decidedReadings lists a plant's held readings that were decided.
func (s *Site) decidedReadings(r *Request) error {
	from := r.firstRow()
	held, all, err := s.Meters.DecidedReadings(r.Context(), r.Scope, r.PlantID(), from, rowsAPage)
	if err != nil {
		return err
	}
	p := &decidedPage{}
	p.Sheet, p.Say = "Decided readings", Capital(Count(all, "held reading was", "held readings were"))+" decided"
	p.Sub = "The newest decision first. A reading that is left out stays in the records."
	r.Offer(&p.Page, "Readings", "readings", false)
	if p.Rows, err = s.decidedRows(r, held); err != nil {
		return err
	}
	p.Pager = r.pagerFrom(from, len(held), all)
	return r.Show("decided", p)
}

func (s *Site) decidedRows(r *Request, held []assets.HeldReading) ([]decidedRow, error) {
	reg, err := s.register(r)
	if err != nil {
		return nil, err
	}
	var ids []int64
	for _, h := range held {
		ids = append(ids, h.DecidedBy)
	}
	names, err := s.Meters.NamesOf(r.Context(), ids)
	if err != nil {
		return nil, err
	}
	var rows []decidedRow
	for _, h := range held {
		c, ok := reg.Conveyor(h.ConveyorID)
		if !ok { // out of use: the register of now has it no more
			if c, err = s.Registers.Conveyor(r.Context(), r.Scope, h.ConveyorID); err != nil {
				return nil, err
			}
		}
		rows = append(rows, decidedRow{Tag: c.Tag, To: r.At("conveyors", c.ID, "readings"), decidedLine: r.decidedLine(h, names)})
	}
	return rows, nil
}

// decidedLine says what was decided about a held reading, why and by whom.
func (r *Request) decidedLine(h assets.HeldReading, names map[int64]string) decidedLine {
	return decidedLine{At: r.F.Stamp(h.At), Shown: With(Num(h.ShownH, 1), "h"), Question: Capital(heldAs(h.Class)),
		Decided: decisionWords(h.Decision), Why: h.DecidedFor, By: names[h.DecidedBy] + ", " + r.F.Stamp(h.DecidedAt)}
}
