package web

import (
	"errors"
	"strings"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// Beginnings of the names of fields in which is counted what a job wore and took.
const (
	wearField  = "wear_"
	takenField = "taken_"
)

// signFields ask what was counted on the job, and the PIN of whoever has set one: the browser may be one that several use.
func (s *Site) signFields(r *Request, f *Form, o workorder.Order) error {
	var a along
	if err := s.alongCounts(r, o, &a); err != nil {
		return err
	}
	for _, c := range a.Counts {
		f.Number(wearField+c.Key, c.Name, c.Usual, c.Unit).Hinted("As it usually is; change it to what was counted")
	}
	for _, c := range a.Takes {
		f.Number(takenField+c.Key, c.Name+" taken from stock", c.Usual, c.Unit).Hinted("By its template, less what was issued by hand")
	}
	_, err := s.desk.PIN(r.Context(), r.Who.Person.ID)
	if errors.Is(err, assets.ErrNotFound) {
		return nil
	}
	if err == nil {
		f.secret("pin", "Your PIN", "off").Hinted("Somebody else signs with theirs on the sheet that is taken along")
	}
	return err
}

// counted reads what was counted on the job.
func (e *entry) counted() assets.JobCounted {
	out := assets.JobCounted{Counters: map[int64]float64{}, Taken: map[int64]assets.Quantity{}}
	for _, field := range e.f.Fields {
		wear, isWear := strings.CutPrefix(field.Name, wearField)
		item, isTaken := strings.CutPrefix(field.Name, takenField)
		if !isWear && !isTaken || e.text(field.Name) == "" {
			continue
		}
		n := e.number(field.Name)
		if n < 0 || n > 100000 {
			e.bad.Add(field.Name, "give what was counted, from 0 on")
		}
		if isWear {
			out.Counters[numberOf(wear)] = n
			continue
		}
		if q, ok := assets.QuantityOf(n); ok {
			out.Taken[numberOf(item)] = q
		}
	}
	return out
}

// ownPIN holds that whoever signs gave their PIN, where they have set one.
func (s *Site) ownPIN(r *Request, f *Form) error {
	if f.Get("pin") == nil {
		return nil
	}
	says, err := s.desk.ComparePIN(r.Context(), r.Who.Person.ID, r.typedSecret("pin"))
	if err == nil && !says.Right {
		err = assets.Invalid{"pin": says.Why}
	}
	return err
}
