package web

import "carryside/schedule/people"

// storeRoutes are the addresses of stores and kit.
func storeRoutes() []Route {
	var out []Route
	add := func(may people.Deed, path string, do func(*Site, *Request) error, methods ...string) {
		for _, m := range methods {
			out = append(out, Route{Method: m, Path: "/plants/:plant/" + path, May: may, Under: "stores", Back: "stores", Do: do})
		}
	}
	form := func(may people.Deed, path string, do func(*Site, *Request) error) { add(may, path, do, get, post) }
	add(people.ReadStores, "stores", (*Site).stores, get)
	add(people.ReadStores, "stores/ledger", (*Site).stockLedger, get)
	add(people.ReadStores, "stores/depot", (*Site).depot, get)
	form(people.KeepStores, "stores/depot/receive", (*Site).depotReceive)
	form(people.KeepStores, "stores/depot/book", (*Site).depotBook)
	add(people.ReadStores, "stores/cutting", (*Site).cutting, get)
	add(people.ReadStores, "stores/items/:item", (*Site).stockItem, get)
	form(people.EditCatalogues, "stores/items/new", (*Site).editItem)
	form(people.EditCatalogues, "stores/items/:item/edit", (*Site).editItem)
	form(people.KeepStores, "stores/items/:item/policy", (*Site).itemPolicy)
	form(people.KeepStores, "stores/items/:item/order", (*Site).orderItem)
	form(people.KeepStores, "stores/supply/:supply", (*Site).editSupply)
	form(people.KeepStores, "stores/count", (*Site).countShelf)
	form(people.KeepStores, "stores/receive", (*Site).receive)
	form(people.KeepStores, "stores/lots/:lot/issue", (*Site).issueLot)
	form(people.KeepStores, "stores/lots/:lot/return", (*Site).returnLot)
	form(people.KeepStores, "stores/lots/:lot/count", (*Site).countLot)
	form(people.KeepStores, "stores/lots/:lot/scrap", (*Site).scrapLot)
	form(people.KeepStores, "stores/lots/:lot/offcut", (*Site).offcutLot)
	form(people.KeepStores, "stores/lots/:lot/move", (*Site).moveLot)
	form(people.KeepStores, "stores/lots/:lot/edit", (*Site).editLot)
	form(people.KeepStores, "stores/kit/new", (*Site).newKit)
	add(people.ReadStores, "stores/kit/:kit", (*Site).kitOne, get)
	form(people.KeepStores, "stores/kit/:kit/edit", (*Site).editKit)
	form(people.KeepStores, "stores/kit/:kit/away", (*Site).kitAway)
	form(people.KeepStores, "stores/kit/:kit/calibration", (*Site).kitCalibration)
	form(people.KeepStores, "stores/kit/:kit/counter", (*Site).kitCounter)
	form(people.KeepStores, "stores/kit/:kit/counters/:counter", (*Site).countCounter)
	form(people.DoJob, "stores/kit/:kit/cutter", (*Site).cutter)
	return out
}
