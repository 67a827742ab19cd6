package main

import (
	"errors"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/stores"
)

// stock gives the plant a lot with movements, a supply on its way, and a cutter of its own with a counter and a calibration.
func (e *estate) stock(c *plantdb.Change) error {
	items, err := stores.Items(c.Context(), c.DB, assets.PlantScope(e.plant), plantdb.AsOf{})
	if err != nil || len(items) == 0 {
		return errors.Join(err, errors.New("the company keeps no item"))
	}
	item := items[0].ID
	lot := assets.StockLot{PlantID: e.plant, ItemID: item, Lot: e.says("lot"), Shelf: e.says("shelf"), GoodUntil: "2027-06-01"}
	supply := assets.SupplyOrder{PlantID: e.plant, ItemID: item, Quantity: 7000, State: assets.SupplyOrdered, OrderedDay: "2026-11-20", ExpectedDay: "2026-12-11", Supplier: e.says("supplier"), Reference: e.says("reference"), Remark: e.says("supplyremark")}
	policy := assets.StockPolicy{PlantID: e.plant, ItemID: item, LeadTimeDays: 9, Class: assets.ClassP, Source: e.says("policy")}
	cutter := assets.Kit{CustomerID: e.customer, HomePlantID: e.plant, Name: e.says("cutter"), Class: assets.KitCutter, Serial: e.says("serialno"), HiredFrom: e.says("hired"), Remark: e.says("kitremark")}
	err = errors.Join(stores.Receive(c, nil, &lot, 20000, 0), stores.SaveSupplyOrder(c, &supply), stores.SavePolicy(c, &policy), stores.SaveKit(c, &cutter))
	if err != nil {
		return err
	}
	counter := assets.KitCounter{KitID: cutter.ID, Counts: assets.WearBladeCuts, Part: e.says("blades"), Limit: 2000, Class: assets.ClassP, Source: e.says("wear")}
	away := assets.KitAway{KitID: cutter.ID, FromAt: c.Now() + 86400e6, ToAt: c.Now() + 2*86400e6, Why: assets.AwayService, Where: e.says("workshop")}
	calibration := assets.Calibration{KitID: cutter.ID, OnDay: "2026-01-05", DueDay: "2027-01-05", Certificate: e.says("calibration"), Class: assets.ClassP, Source: e.says("interval")}
	if err := errors.Join(stores.SaveCounter(c, &counter), stores.SaveAway(c, &away), stores.SaveCalibration(c, &calibration)); err != nil {
		return err
	}
	o, err := orders.ByNumber(c.Context(), c.DB, assets.PlantScope(e.plant), e.plant, 2)
	if err != nil {
		return err
	}
	e.ids["accepted order"] = o.ID
	e.ids["item"], e.ids["lot"], e.ids["supply"], e.ids["kit"], e.ids["counter"] = item, lot.ID, supply.ID, cutter.ID, counter.ID
	return errors.Join(stores.Count(c, &assets.KitCount{CounterID: counter.ID, Quantity: 40, Reason: e.says("countreason")}),
		stores.Post(c, []assets.StockMovement{{LotID: lot.ID, Quantity: -1000, Why: assets.MoveScrapped, Reason: e.says("scrapped")}}))
}
