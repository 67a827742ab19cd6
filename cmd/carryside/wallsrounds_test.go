package main

import (
	"errors"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/rounds"
	"carryside/assets/plantdb/stops"
	"carryside/assets/plantdb/worksheets"
)

// walk gives the plant a round and a grade 4 that came in on it from a phone whose clock was off.
func (e *estate) walk(c *plantdb.Change) error {
	grade := 4
	rd := assets.Round{PlantID: e.plant, Name: e.says("round"), LineIDs: []int64{e.ids["line"]}}
	phone, err := rounds.Know(c, e.mark+"-phone", e.says("phone"))
	if err = errors.Join(err, rounds.Save(c, &rd)); err != nil {
		return err
	}
	in := assets.RoundEntry{PlantID: e.plant, RoundID: rd.ID, ClientID: e.mark + "-entry", Revision: 1, DeviceID: phone.ID, DeviceAt: c.Now() - 600e6, SentOffsetUS: 600e6, Clock: assets.ClocksAsked}
	found := assets.Finding{PlantID: e.plant, ConveyorID: e.ids["conveyor"], BeltID: e.ids["belt"], SpliceID: e.ids["splice"], FoundAt: c.Now() - 1200e6, FoundDay: "2026-11-25",
		Category: e.says("roundcategory"), Grade: &grade, Text: e.says("roundfinding")}
	_, err = rounds.Take(c, &in, &found)
	e.ids["round"], e.ids["entry"] = rd.ID, in.ID
	stood := assets.Standstill{PlantID: e.plant, ConveyorID: e.ids["conveyor"], FromAt: c.Now() - 7200e6, Cause: assets.CauseOther, Text: e.says("standstill")}
	if err == nil {
		_, err = stops.SaveStandstill(c, &stood)
	}
	e.ids["standstill"] = stood.ID
	return errors.Join(err, e.sign(c, phone))
}

// sign gives an order of the plant a signature that came in from the phone and waits for the lead.
func (e *estate) sign(c *plantdb.Change, phone assets.Device) error {
	g := assets.JobSignature{PlantID: e.plant, OrderID: e.ids["order of a press record"], ClientID: e.mark + "-signature", PersonID: c.Act.PersonID, DeviceID: phone.ID, DeviceAt: c.Now(), BeganAt: c.Now(), DoneAt: c.Now(),
		Hours: 2, Note: e.says("signaturenote"), Why: "the PIN that came with it is wrong"}
	_, err := worksheets.KeepSignature(c, &g)
	e.ids["signature"] = g.ID
	return err
}
