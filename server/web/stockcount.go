package web

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/stock"
)

// shelved is a lot with its item, as it is counted.
type shelved struct {
	stock.Lot
	item assets.StockItem
}

// shelf lists the lots of which something lies at the plant by the ledger, shelf by shelf.
func shelf(room *Room) []shelved {
	var out []shelved
	for _, o := range room.Outlooks {
		for _, l := range o.Lots {
			if l.OnHand != 0 {
				out = append(out, shelved{l, o.Item})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b shelved) int {
		return cmp.Or(strings.Compare(a.Shelf, b.Shelf), strings.Compare(a.item.Name, b.item.Name), strings.Compare(a.Lot.Lot, b.Lot.Lot))
	})
	return out
}

// held says what the lots held when somebody went to count: "31=17200 32=500".
func held(lots []shelved) string {
	var words []string
	for _, l := range lots {
		words = append(words, fmt.Sprintf("%d=%d", l.ID, l.OnHand))
	}
	return strings.Join(words, " ")
}

// countShelf answers: what really lies on the shelves? What the ledger says does not stand there, so that nobody copies it; what agrees books nothing.
func (s *Site) countShelf(r *Request) error {
	room, err := s.StoreBook.Room(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	lots := shelf(room)
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the count", Leave: r.At("stores"), RowsAt: 0}
		p.Sheet, p.Say = "Stores and kit", pick(len(lots) == 0, "Nothing lies here by the ledger", "Count what lies on the shelves")
		p.Sub = "A lot left empty is not counted; 0 says that nothing is left of it. Differences are booked as found or missed, with your name and reason; what agrees books nothing."
		f.Hidden("held", held(lots))
		p.Rows = &formRows{Head: "Lots, shelf by shelf", Stack: true, Columns: []string{"Shelf", "Lot", "What", "Counted", "Unit"}}
		for _, l := range lots {
			name := "counted_" + plainInt(l.ID)
			word := func(part, value string) *Field { return &Field{Kind: "words", Name: name + part, Value: value} }
			sign := string(l.item.Unit)
			if field := stockField(l.item.Unit); field != nil {
				sign = field.Sign(r.F.Units)
			}
			amount := f.Number(name, "counted of lot "+l.Lot.Lot+", "+l.item.Name, "", "")
			p.Rows.Rows = append(p.Rows.Rows, []*Field{word("s", pick(l.Shelf == "", "no shelf", l.Shelf)), word("l", l.Lot.Lot), word("w", l.item.Name).OverBoth(), amount, word("u", sign)})
		}
		p.section("", f.Text("reason", "Reason for the differences", "").Hinted("Where it may have gone, or come from").OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		lines, agree := e.countedLots(lots)
		if fd := e.f.Get("held"); e.Err() == nil && fd.Value != held(lots) {
			fd.Value = held(lots)
			return "", "", assets.Invalid{"": "something was booked on these shelves since this page was opened; look whether it is in your count, and send it again"}
		}
		if len(lines) == 0 && agree == 0 {
			e.bad.Add("", "count at least one lot")
		}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		said := Capital(Count(len(lines)+agree, "lot is", "lots are")) + " counted: "
		if len(lines) == 0 {
			return r.At("stores"), said + "all agree with the ledger, and nothing was booked.", nil
		}
		err := s.StoreBook.Book(r.Context(), r.Scope, r.act("count stock", e.text("reason")), r.PlantID(), lines)
		return r.At("stores"), said + Count(len(lines), "differs and is", "differ and are") + " booked.", err
	})
}

// countedLots reads what was counted: a line for each lot that differs, and how many agree.
func (e *entry) countedLots(lots []shelved) (lines []assets.StockMovement, agree int) {
	for _, l := range lots {
		name := "counted_" + plainInt(l.ID)
		if e.text(name) == "" {
			continue
		}
		q := e.amount(name, l.item)
		if q < 0 {
			e.bad.Add(name, "a count is 0 or more")
		}
		if q == l.OnHand {
			agree++
			continue
		}
		lines = append(lines, assets.StockMovement{LotID: l.ID, Quantity: q - l.OnHand, Why: assets.MoveCounted, Reason: e.text("reason")})
	}
	return lines, agree
}
