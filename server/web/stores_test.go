package web

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"

	"carryside/assets"
	"carryside/schedule/kit"
	"carryside/schedule/people"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
)

// The fake storeroom: release cloth with one roll, cover compound with a lot that ends before its order's stop, a press and a
// step cutter.
func (o *fakeOffice) Room(context.Context, assets.Scope, int64, time.Time) (*Room, error) {
	cloth := assets.StockItem{Version: assets.Version{ID: 1}, Name: "Release cloth", Kind: assets.StockCloth, Unit: assets.UnitMetre, LeadTimeDays: 42, PackQuantity: 50000, WidthM: 1.6}
	compound := assets.StockItem{Version: assets.Version{ID: 2}, Name: "Cover compound", Kind: assets.StockFilm, Unit: assets.UnitKilogram, LeadTimeDays: 21, ShelfLifeDays: 180}
	pads := assets.StockItem{Version: assets.Version{ID: 3}, Name: "Cutter pads", Kind: assets.StockCutPad, Unit: assets.UnitPiece, Critical: true}
	lot := func(id, item int64, name string, q assets.Quantity, until assets.Day) stock.Lot {
		return stock.Lot{StockLot: assets.StockLot{Version: assets.Version{ID: id, RowID: 10 * id}, PlantID: 3, ItemID: item, Lot: name, GoodUntil: until}, OnHand: q}
	}
	order := workorder.Order{Version: assets.Version{ID: 77}, Number: 415, Title: "remake S2", State: workorder.Placed}
	needs := func(q assets.Quantity) []stock.Need {
		return []stock.Need{{OrderID: 77, Number: 415, Quantity: q, Day: "2026-12-25", Placed: true, Words: "remake S2"}}
	}
	room := &Room{Today: "2026-11-25", Items: []assets.StockItem{cloth, compound, pads}, Movements: 1214, Orders: map[int64]string{415: "Q2, remake S2"},
		Demand: &stock.Demand{Register: &assets.Register{}, Orders: []workorder.Order{order}}, Supplies: []assets.SupplyOrder{{Version: assets.Version{ID: 5}, PlantID: 3, ItemID: 2, Number: 31, Quantity: 10000, State: assets.SupplyOrdered, ExpectedDay: "2026-11-20"}}}
	for _, of := range []struct {
		item  assets.StockItem
		lots  []stock.Lot
		needs []stock.Need
	}{
		{cloth, []stock.Lot{lot(31, 1, "31", 17200, "")}, needs(4000)},
		{compound, []stock.Lot{lot(41, 2, "7731", 24000, "2026-12-20")}, needs(11000)},
		{pads, []stock.Lot{lot(51, 3, "P7", 1000, "")}, nil},
	} {
		out, err := stock.Look(of.item, stock.KeepingOf(of.item, nil), of.lots, nil, of.needs, nil, room.Today)
		if err != nil {
			return nil, err
		}
		room.Outlooks = append(room.Outlooks, out)
	}
	return room, nil
}

func (o *fakeOffice) KitRoom(context.Context, assets.Scope, int64, time.Time) (*KitRoom, error) {
	owner := o.plant.frames[0].Plant.CustomerID
	press := assets.Kit{Version: assets.Version{ID: 1}, Name: "Press 1", Class: assets.KitPress, WorkingWidthM: 1.4, HomePlantID: 3, CustomerID: owner}
	cutter := assets.Kit{Version: assets.Version{ID: 2}, Name: "Step cutter", Class: assets.KitCutter, HomePlantID: 3, CustomerID: owner}
	gauge := assets.Kit{Version: assets.Version{ID: 3}, Name: "TH-1", Class: assets.KitThermometer, GoesWithID: 1, HomePlantID: 3, CustomerID: owner}
	counter := func(id, kitID int64, counts assets.Wear, part string, n, limit float64, up bool) kit.Counter {
		return kit.Counter{KitCounter: assets.KitCounter{Version: assets.Version{ID: id}, KitID: kitID, Counts: counts, Part: part, Limit: limit, PerJob: 60, Class: assets.ClassD, InUse: up}, Count: n}
	}
	noon := assets.InstantOf(time.Date(2026, 12, 25, 11, 0, 0, 0, time.UTC))
	job := KitJob{From: noon, To: noon + 4*3600e6, Number: 415, Where: "Q2", Here: true}
	return &KitRoom{Kit: []assets.Kit{press, cutter, gauge},
		Counters: map[int64][]kit.Counter{1: {counter(1, 1, assets.WearPressCycles, "", 215, 400, false)},
			2: {counter(2, 2, assets.WearPadCutsA, "pad 6", 300, 300, false), counter(3, 2, assets.WearPadCutsB, "pad 6", 180, 300, true), counter(4, 2, assets.WearBladeCuts, "blades 9", 1960, 2000, false)}},
		Aways:        map[int64][]assets.KitAway{1: {{Version: assets.Version{ID: 1}, KitID: 1, FromAt: noon - 30*86400e6, ToAt: noon + 86400e6, Why: assets.AwayCalibration}}},
		Calibrations: map[int64][]assets.Calibration{3: {{Version: assets.Version{ID: 1}, KitID: 3, OnDay: "2025-11-20", DueDay: "2026-11-20", Certificate: "K-1"}}},
		Jobs:         map[int64][]KitJob{1: {job}, 2: {job, {From: noon + 86400e6, To: noon + 90000e6, Hidden: true}}}}, nil
}

func (o *fakeOffice) Ledger(_ context.Context, _ assets.Scope, _, _ int64, from, most int) (*Ledger, error) {
	if o.booked > 0 {
		l := &Ledger{All: o.booked, Items: map[int64]assets.StockItem{1: {Name: "Release cloth", Unit: assets.UnitMetre}}}
		for i := from; i < min(from+most, o.booked); i++ {
			l.Lines = append(l.Lines, assets.StockMovement{ID: int64(o.booked - i), ItemID: 1, Quantity: 1000, Why: assets.MoveReceived, At: assets.InstantOf(morning)})
		}
		return l, nil
	}
	return &Ledger{Lines: []assets.StockMovement{{ID: 2, ItemID: 1, LotID: 31, Quantity: -4000, Why: assets.MoveIssued, At: assets.InstantOf(morning), OrderID: 77, PersonID: 1},
		{ID: 1, ItemID: 1, LotID: 31, Quantity: 21200, Why: assets.MoveReceived, At: assets.InstantOf(morning.AddDate(0, -1, 0)), PersonID: 1}},
		Lots: map[int64]assets.StockLot{31: {Lot: "31"}}, Items: map[int64]assets.StockItem{1: {Name: "Release cloth", Unit: assets.UnitMetre}}, People: map[int64]string{1: "I. Vanterel"}, Orders: map[int64]int64{77: 415}, All: 2}, nil
}

func (o *fakeOffice) StoreItem(ctx context.Context, scope assets.Scope, id int64) (assets.StockItem, error) {
	room, _ := o.Room(ctx, scope, 3, morning)
	for _, it := range room.Items {
		if it.ID == id {
			return it, nil
		}
	}
	return assets.StockItem{}, assets.ErrNotFound
}

func (o *fakeOffice) StoreLot(ctx context.Context, scope assets.Scope, id int64) (stock.Lot, error) {
	room, _ := o.Room(ctx, scope, 3, morning)
	for _, of := range room.Outlooks {
		for _, l := range of.Lots {
			if l.ID == id {
				return l, nil
			}
		}
	}
	return stock.Lot{}, assets.ErrNotFound
}

func (o *fakeOffice) StoreSupply(ctx context.Context, scope assets.Scope, id int64) (assets.SupplyOrder, error) {
	room, _ := o.Room(ctx, scope, 3, morning)
	if room.Supplies[0].ID == id {
		return room.Supplies[0], nil
	}
	return assets.SupplyOrder{}, assets.ErrNotFound
}

func (o *fakeOffice) StorePolicy(context.Context, assets.Scope, int64, int64) (assets.StockPolicy, error) {
	return assets.StockPolicy{}, nil
}

func (o *fakeOffice) SaveStoreItem(_ context.Context, act Act, it *assets.StockItem) error {
	return o.change(act, *it)
}

func (o *fakeOffice) SavePolicy(_ context.Context, _ assets.Scope, act Act, p *assets.StockPolicy) error {
	return o.change(act, *p)
}

func (o *fakeOffice) SaveLot(_ context.Context, _ assets.Scope, act Act, l *assets.StockLot) error {
	return o.change(act, *l)
}

func (o *fakeOffice) Book(_ context.Context, _ assets.Scope, act Act, _ int64, lines []assets.StockMovement) error {
	return o.change(act, lines)
}

func (o *fakeOffice) PutAside(_ context.Context, _ assets.Scope, act Act, from stock.Lot, into *assets.StockLot, q assets.Quantity, why assets.MovementWhy, _ assets.Instant) error {
	return o.change(act, from.ID, *into, q, why)
}

func (o *fakeOffice) Receive(_ context.Context, _ assets.Scope, act Act, s *assets.SupplyOrder, lot *assets.StockLot, q assets.Quantity, _ assets.Instant) error {
	return o.change(act, *lot, q)
}

// The depot has a roll of cloth of 50 m and an empty tin.
func (o *fakeOffice) Depot(context.Context, assets.Scope, int, int) (*Depot, error) {
	cloth := assets.StockItem{Version: assets.Version{ID: 1}, Name: "Release cloth", Unit: assets.UnitMetre}
	return &Depot{Items: []assets.StockItem{cloth}, Lots: []stock.Lot{{StockLot: assets.StockLot{Version: assets.Version{ID: 61}, ItemID: 1, Lot: "D-61"}, OnHand: 50000}, {StockLot: assets.StockLot{Version: assets.Version{ID: 62}, ItemID: 1, Lot: "D-62"}}},
		Ledger: Ledger{All: 1, Items: map[int64]assets.StockItem{1: cloth}, Lots: map[int64]assets.StockLot{61: {Lot: "D-61"}}, People: map[int64]string{1: "I. Vanterel"},
			Lines: []assets.StockMovement{{ID: 5, ItemID: 1, LotID: 61, Quantity: 50000, Why: assets.MoveReceived, At: assets.InstantOf(morning), PersonID: 1}}}}, nil
}

func (o *fakeOffice) BookDepot(_ context.Context, _ assets.Scope, act Act, lot *assets.StockLot, lines []assets.StockMovement) error {
	if lot != nil {
		return o.change(act, *lot, lines[0])
	}
	return o.change(act, lines[0])
}

func (o *fakeOffice) SaveSupply(_ context.Context, _ assets.Scope, act Act, s *assets.SupplyOrder) error {
	return o.change(act, *s)
}

func (o *fakeOffice) SaveKit(_ context.Context, act Act, k *assets.Kit) error {
	return o.change(act, *k)
}

func (o *fakeOffice) SaveAway(_ context.Context, act Act, _ assets.Kit, a *assets.KitAway) error {
	return o.change(act, *a)
}

func (o *fakeOffice) SaveCounter(_ context.Context, act Act, _ assets.Kit, c *assets.KitCounter) error {
	return o.change(act, *c)
}

func (o *fakeOffice) CountKit(_ context.Context, act Act, _ assets.Kit, line *assets.KitCount) error {
	return o.change(act, *line)
}

func (o *fakeOffice) SaveCalibration(_ context.Context, act Act, _ assets.Kit, c *assets.Calibration) error {
	return o.change(act, *c)
}

func (o *fakeOffice) ChangeParts(_ context.Context, _ assets.Scope, act Act, _ assets.Kit, p PartsChange) error {
	return o.change(act, p)
}

func (o *fakeOffice) KitCounts(_ context.Context, _ assets.Scope, _, _ int64, from, most int) (CountBook, error) {
	book := CountBook{All: o.counted, People: map[int64]string{1: "I. Vanterel"}, Orders: map[int64]int64{77: 415}}
	for i := from; i < min(from+most, book.All); i++ {
		book.Lines = append(book.Lines, assets.KitCount{ID: int64(i + 1), CounterID: 1, Quantity: 1, At: assets.InstantOf(morning), PersonID: 1, OrderID: 77})
	}
	return book, nil
}

// Two hundred and fifty movements are three pages: the third holds fifty, and one behind the last says so and leads back. The sum of all lines
// stands only where all of them do.
func TestAStorekeeperReadsTheLedgerBackToItsFirstLine(t *testing.T) {
	f := withStores()
	v := as(t, f, assets.RoleLead)
	f.office().booked, f.office().counted = 250, 250
	for _, path := range []string{"/plants/3/stores/ledger", "/plants/3/stores/items/1", "/plants/3/stores/kit/1"} {
		lines := func(query string) (int, *goquery.Selection) {
			main := v.get(path + query).Find("main")
			return main.Find("section").Has("#lg, #mv").Find("tbody tr").Length(), main.Find(".pager")
		}
		n, pager := lines("")
		if next := pager.Find("a[rel=next]").AttrOr("href", ""); n != 100 || !strings.HasSuffix(next, "page=2") || pager.Find("a[rel=prev]").Length() != 0 {
			t.Errorf("%s shows %d lines and leads on to %q", path, n, next)
		}
		if n, pager = lines("?page=3"); n != 50 || pager.Find("a[rel=next]").Length() != 0 || !strings.Contains(pager.Text(), "201 to 250 of 250") {
			t.Errorf("page 3 of %s shows %d lines, %q", path, n, pager.Text())
		}
		n, pager = lines("?page=9")
		if prev := pager.Find("a[rel=prev]").AttrOr("href", ""); n != 0 || !strings.HasSuffix(prev, "page=3") || !strings.Contains(pager.Text(), "the list has 250") {
			t.Errorf("page 9 of %s shows %d lines, leads back to %q and says %q", path, n, prev, pager.Text())
		}
	}
	if says := text(v.get("/plants/3/stores/items/1"), "main"); strings.Contains(says, "All lines:") {
		t.Error("a part of the lines is summed as all of them")
	}
	if to := v.get("/plants/3/stores/kit/1").Find(`a[href="/plants/3/orders/415"]`).First(); to.Text() != "order 415" {
		t.Errorf("the job that moved a counter is named %q", to.Text())
	}
}

// withStores is the fake plant with a lead, who keeps its stores.
func withStores() *fakePlant {
	f := skarrow()
	f.staff = append(f.staff, assets.Person{ID: 9, Name: "N. Corvane", Role: assets.RoleLead})
	return f
}

func TestStoresSaysWhatIsShortAndWhatToOrder(t *testing.T) {
	d := as(t, withStores(), assets.RoleLead).get("/plants/3/stores")
	if got := text(d, "h1"); got != "Order 415 lacks stock on its day; cover compound must be ordered now" && got != "Order 415 lacks stock on its day; cover compound must be ordered by Friday 4 December 2026" {
		t.Errorf("the headline is %q", got)
	}
	body := strings.ReplaceAll(d.Find("main").Text(), nb, " ")
	for _, want := range []string{"415: 11 kg lacking", "17.2 m left", "13.2 m", "Press 1 decides order 415", "overdue since 20 Nov 2026", "not enough for 415", "300 of 300, spent", "not free", "1 214 lines"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

func TestStoresHeadline(t *testing.T) {
	r := &Request{F: Format{Zone: time.UTC, Now: morning}}
	out := func(name string, order assets.Day, wait ...int64) stock.Outlook {
		o := stock.Outlook{Item: assets.StockItem{Name: name}, OrderDay: order}
		for _, n := range wait {
			o.Wait = append(o.Wait, stock.Held{Need: stock.Need{Number: n, Placed: true}})
		}
		return o
	}
	for _, tt := range []struct {
		outlooks []stock.Outlook
		want     string
	}{
		{nil, "No stock is kept here yet"},
		{[]stock.Outlook{out("Cloth", "")}, "Every placed order has its stock; nothing has to be ordered soon"},
		{[]stock.Outlook{out("Cloth", "2026-11-25"), out("Glue", "2026-12-04")}, "Every placed order has its stock; cloth must be ordered now"},
		{[]stock.Outlook{out("Cloth", "2027-01-08", 415, 412), out("Glue", "2026-12-04", 412)}, "Two placed orders lack stock on their day; glue must be ordered by Friday 4 December 2026"},
	} {
		if got := strings.ReplaceAll(storesSay(r, &Room{Today: "2026-11-25", Outlooks: tt.outlooks}), nb, " "); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

func TestTheCustomersViewerSeesNoStores(t *testing.T) {
	for role, may := range map[assets.Role][2]bool{assets.RoleCustomerViewer: {false, false}, assets.RoleStorekeeper: {true, true}, assets.RolePlanner: {true, false},
		assets.RoleTechnician: {true, false}, assets.RoleAuditor: {true, false}, assets.RoleLead: {true, true}, assets.RoleAdministrator: {false, false}} {
		if people.May(role, people.ReadStores) != may[0] || people.May(role, people.KeepStores) != may[1] {
			t.Errorf("%s: reads %v, keeps %v", role, people.May(role, people.ReadStores), people.May(role, people.KeepStores))
		}
	}
}

func TestIssuingBeforeItsTurnAsksForAReason(t *testing.T) {
	v := as(t, withStores(), assets.RoleLead)
	form := url.Values{"amount": {"4"}, "order_id": {"77"}, "at": {"2026-11-25T06:00"}, "reason": {""}}
	v.post("/plants/3/stores/lots/31/issue", form, http.StatusSeeOther)
	d := v.post("/plants/3/stores/lots/31/issue", url.Values{"amount": {"4"}, "order_id": {"999"}, "at": {"2026-11-25T06:00"}}, http.StatusUnprocessableEntity)
	if got := text(d, "[data-errors]"); !strings.Contains(got, "open orders") {
		t.Errorf("an order that was not offered: %q", got)
	}
	d = v.post("/plants/3/stores/lots/31/issue", url.Values{"amount": {"-4"}, "at": {"2026-11-25T06:00"}}, http.StatusUnprocessableEntity)
	if got := text(d, "[data-errors]"); !strings.Contains(got, "above 0") {
		t.Errorf("less than nothing: %q", got)
	}
	v.page("/plants/3/stores/lots/99/issue", http.StatusNotFound)
}

func TestEveryFormOfStoresOpensAndRefusesNothingTyped(t *testing.T) {
	v := as(t, withStores(), assets.RoleLead)
	for _, path := range []string{"items/new", "items/1/edit", "items/1/policy", "items/1/order", "supply/5", "receive", "lots/31/return", "lots/31/count", "lots/31/scrap", "lots/31/offcut", "lots/31/move",
		"lots/31/edit", "kit/new", "kit/1/edit", "kit/1/away", "kit/1/calibration", "kit/1/counter", "kit/1/counters/1"} {
		d := v.get("/plants/3/stores/" + path)
		if d.Find("form[method=post]").Length() == 0 {
			t.Errorf("%s has no form", path)
		}
		d = v.post("/plants/3/stores/"+path, url.Values{}, http.StatusUnprocessableEntity)
		if text(d, "[data-errors]") == "" {
			t.Errorf("%s: nothing typed, and nothing said", path)
		}
	}
	for _, path := range []string{"items/1", "items/2", "ledger", "cutting", "cutting?item=1", "kit/1", "kit/2"} {
		v.get("/plants/3/stores/" + path)
	}
}

func TestTheCutterIsLedThroughTheChecksInOrder(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleTechnician)
	d := v.get("/plants/3/stores/kit/2/cutter")
	if got := text(d, "h1"); got != "Step cutter does not cut through: pad side is next" {
		t.Errorf("it begins with %q", got)
	}
	if got := text(d, ".caution"); !strings.Contains(got, "gloves") {
		t.Errorf("the cautions are %q", got)
	}
	d = v.post("/plants/3/stores/kit/2/cutter", url.Values{"check": {"pad side"}, "answer": {"could not be done"}}, http.StatusOK)
	if got := text(d, "h1"); got != "Step cutter does not cut through: pad is next" {
		t.Errorf("then %q", got)
	}
	answers := url.Values{"pad_side": {"could not be done"}, "check": {"pad"}, "answer": {"cuts through"}}
	v.post("/plants/3/stores/kit/2/cutter", answers, http.StatusUnprocessableEntity) // the new pad has no name
	answers.Set("part", "pad 7")
	v.post("/plants/3/stores/kit/2/cutter", answers, http.StatusSeeOther)
	kept := f.office().kept
	change, ok := kept[len(kept)-1].(PartsChange)
	if !ok || len(change.End) != 2 || len(change.Begin) != 2 || change.Begin[0].Part != "pad 7" || !change.Begin[0].InUse || change.Begin[0].Limit != 300 || len(change.Stock) != 1 {
		t.Errorf("%+v", change)
	}
	v.post("/plants/3/stores/kit/2/cutter", url.Values{"pad_side": {"perhaps"}, "check": {"pad"}}, http.StatusUnprocessableEntity)
	v.page("/plants/3/stores/kit/1/cutter", http.StatusNotFound)
}

func TestTheDepotIsReceivedIntoSentFromAndCounted(t *testing.T) {
	f := withLead(skarrow())
	v := as(t, f, assets.RoleLead)
	if row := v.get("/plants/3/stores/depot").Find("tbody tr").Length(); row != 0 {
		t.Errorf("with a grant for one plant, %d rows of the depot are shown", row)
	}
	v.send("/plants/3/stores/depot/receive", url.Values{"item": {"1"}, "amount": {"5"}, "lot": {"x"}}, http.StatusSeeOther)
	if kept := f.office().kept; len(kept) != 0 {
		t.Fatalf("with a grant for one plant, the depot was booked: %+v", kept)
	}
	f.grantAll = true
	v = as(t, f, assets.RoleLead)
	page := v.get("/plants/3/stores/depot")
	if say := text(page, "h1"); !strings.Contains(say, "One lot lies in the depot") {
		t.Errorf("the depot says %q", say)
	}
	if row := strings.ReplaceAll(text(page, "tbody tr"), nb, " "); !strings.Contains(row, "D-61") || !strings.Contains(row, "50 m") {
		t.Errorf("its row says %q", row)
	}
	v.post("/plants/3/stores/depot/receive", url.Values{"item": {"9"}, "amount": {"5"}, "lot": {"x"}}, http.StatusUnprocessableEntity)
	v.send("/plants/3/stores/depot/receive", url.Values{"item": {"1"}, "amount": {"12.5"}, "lot": {"D-63"}}, http.StatusSeeOther)
	if lot, line := f.office().kept[0].(assets.StockLot), f.office().kept[1].(assets.StockMovement); lot.PlantID != 0 || lot.Lot != "D-63" || line.Quantity != 12500 || line.Why != assets.MoveReceived {
		t.Errorf("received %+v, %+v", lot, line)
	}
	v.post("/plants/3/stores/depot/book", url.Values{"depot_lot": {"61"}, "deed": {"scrap"}, "amount": {"5"}}, http.StatusUnprocessableEntity) // no reason
	v.post("/plants/3/stores/depot/book", url.Values{"depot_lot": {"61"}, "deed": {"count"}, "amount": {"50"}, "reason": {"counted"}}, http.StatusUnprocessableEntity)
	v.send("/plants/3/stores/depot/book", url.Values{"depot_lot": {"61"}, "deed": {"count"}, "amount": {"48"}, "reason": {"short on the roll"}}, http.StatusSeeOther)
	if line := f.office().kept[len(f.office().kept)-1].(assets.StockMovement); line.Quantity != -2000 || line.Why != assets.MoveCounted {
		t.Errorf("counted %+v", line)
	}
	v.send("/plants/3/stores/depot/book", url.Values{"depot_lot": {"61"}, "deed": {"send"}, "amount": {"20"}, "shelf": {"B2"}}, http.StatusSeeOther)
	sent := false
	for _, k := range f.office().kept {
		if into, ok := k.(assets.StockLot); ok && into.PlantID == 3 && into.Shelf == "B2" && into.Lot == "D-61" {
			sent = true
		}
	}
	if !sent {
		t.Errorf("sent to the plant: %+v", f.office().kept)
	}
}
