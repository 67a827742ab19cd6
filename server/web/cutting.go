package web

import (
	"cmp"
	"context"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"time"

	"carryside/assets"
	"carryside/schedule/stock"
	"carryside/server/web/drawing"
)

// cuttingPage answers: which rolls are cut for the orders ahead so that the least belt is wasted?
type cuttingPage struct {
	Page
	Items  []Link
	Item   string
	Rolls  template.HTML
	Narrow template.HTML
	Cuts   []cutRow
	Uncut  []cutRow
	Keep   string
	Method string
	Empty  *Empty
}

type cutRow struct {
	Roll, Piece, Order, To, Rest string
	Bad                          bool
}

// cuttingTime is how long the best way is looked for while somebody waits.
const cuttingTime = 2 * time.Second

// keepM is the shortest offcut kept: of belt a piece for an insert, of cloth one for a small press. Rules of thumb (class D).
var keepM = map[assets.StockKind]float64{assets.StockBelt: 3, assets.StockCloth: 1}

// otherKeepM is the shortest offcut kept of anything else.
const otherKeepM = 0.5

func (s *Site) cutting(r *Request) error {
	room, err := s.StoreBook.Room(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	p := &cuttingPage{}
	p.Sheet = "Stores and kit"
	var chosen *stock.Outlook
	for i, o := range room.Outlooks {
		if !o.Item.InCuts() {
			continue
		}
		if chosen == nil && r.Query("item") == "" && len(o.Held) > 0 && len(o.Lots) > 0 || plainInt(o.Item.ID) == r.Query("item") {
			chosen = &room.Outlooks[i]
		}
		p.Items = append(p.Items, Link{Word: o.Item.Name, To: r.At("stores/cutting") + "?item=" + plainInt(o.Item.ID)})
	}
	if chosen == nil {
		p.Say = "No order takes anything off a roll"
		p.Empty = &Empty{What: "Nothing to cut", Why: "Once an order takes belt or cloth by the metre, this page says from which roll it is cut so that the least is wasted."}
		return r.Show("cutting", p)
	}
	p.Item = chosen.Item.Name
	for i := range p.Items {
		p.Items[i].Current = p.Items[i].Word == p.Item
	}
	return r.cut(p, *chosen, room)
}

// cut works the best way out and shows it.
func (r *Request) cut(p *cuttingPage, o stock.Outlook, room *Room) error {
	rolls, lots := rollsOf(o, room.Today)
	pieces, needs := piecesOf(o)
	keep := otherKeepM
	if k, ok := keepM[o.Item.Kind]; ok {
		keep = k
	}
	ctx, stop := context.WithTimeout(r.Context(), cuttingTime)
	defer stop()
	c, err := stock.BestCutting(ctx, rolls, pieces, stock.CuttingRules{KeepMM: int64(keep * 1000)})
	if err != nil {
		return assets.Invalid{"": err.Error()}
	}
	waste := float64(c.Cost.Waste) / 1e6
	p.Say = cuttingSay(o, c, len(pieces), waste)
	p.Sub = "For the " + Figure(len(pieces), "order that takes it", "orders that take it") + ", placed or not, from what lies here and is fit."
	p.Keep = "Ends from " + r.F.Distance(keep) + " on are kept as stock (rule of thumb, class D); shorter ones count as waste."
	p.Method = pick(c.Proven, "Every way of cutting was weighed (dynamic programming over pieces and rolls): no way leaves fewer orders without belt, and of those none wastes less; ties go to the fewest rolls begun, then to the longest ends left whole.",
		"There were too many ways to weigh them all in "+strconv.Itoa(int(cuttingTime.Seconds()))+" s. This is the best of three quick ways, not proven to waste the least.")
	p.Rolls, p.Narrow = r.cutDrawing(o, c, rolls, lots, needs)
	for _, cut := range c.Cuts {
		for i, n := range cut.Pieces {
			row := cutRow{Roll: lots[cut.Roll].Lot, Piece: r.quantity(o.Item, needs[n].Quantity), Order: strconv.FormatInt(needs[n].Number, 10), To: r.At("orders", needs[n].Number)}
			if i == len(cut.Pieces)-1 {
				row.Rest, row.Bad = restWords(r, o, cut), !cut.Kept && cut.RestMM > 0
			}
			p.Cuts = append(p.Cuts, row)
		}
	}
	for _, n := range c.Uncut {
		p.Uncut = append(p.Uncut, cutRow{Piece: r.quantity(o.Item, needs[n].Quantity), Order: strconv.FormatInt(needs[n].Number, 10), To: r.At("orders", needs[n].Number)})
	}
	return r.Show("cutting", p)
}

func restWords(r *Request, o stock.Outlook, cut stock.Cut) string {
	if cut.RestMM == 0 {
		return "nothing left"
	}
	return r.quantity(o.Item, assets.Quantity(cut.RestMM)) + pick(cut.Kept, " kept", " wasted")
}

func cuttingSay(o stock.Outlook, c stock.Cutting, pieces int, waste float64) string {
	switch {
	case len(c.Uncut) > 0:
		return Capital(Count(len(c.Uncut), "order finds", "orders find")) + " no roll of " + o.Item.Name + " long enough"
	case pieces == 0:
		return "No order takes " + o.Item.Name
	}
	say := pick(pieces == 1, "The one piece of "+o.Item.Name+" is cut from ", "All "+Word(pieces)+" pieces of "+o.Item.Name+" are cut from ") + Count(len(c.Cuts), "roll", "rolls")
	if waste == 0 {
		return say + " with nothing wasted"
	}
	return say + ", " + Short(waste, 2) + nb + "m² wasted"
}

// rollsOf are the lots a piece may come from.
func rollsOf(o stock.Outlook, today assets.Day) ([]stock.Roll, []stock.Lot) {
	var rolls []stock.Roll
	var lots []stock.Lot
	for _, l := range o.Lots {
		mm := int64(l.OnHand)
		if !l.Fit(today) || mm < 1 {
			continue
		}
		rolls = append(rolls, stock.Roll{LotID: l.ID, LengthMM: mm, WidthMM: widthMM(cmp.Or(l.WidthM, o.Item.WidthM)), Offcut: l.CutFromID != 0 || o.Item.PackQuantity > l.OnHand})
		lots = append(lots, l)
	}
	return rolls, lots
}

// piecesOf are the lengths that orders take; a placed one matters more than one without a stop.
func piecesOf(o stock.Outlook) ([]stock.Piece, []stock.Need) {
	var pieces []stock.Piece
	var needs []stock.Need
	for _, h := range o.Held {
		weight := int64(1)
		if h.Placed {
			weight = 10
		}
		pieces = append(pieces, stock.Piece{OrderID: h.OrderID, LengthMM: int64(h.Quantity), WidthMM: widthMM(o.Item.WidthM), Weight: weight})
		needs = append(needs, h.Need)
	}
	return pieces, needs
}

// widthMM is a width for reckoning waste; one that is not known counts as a metre.
func widthMM(m float64) int64 {
	if m <= 0 {
		return 1000
	}
	return int64(math.Round(m * 1000))
}

func (r *Request) cutDrawing(o stock.Outlook, c stock.Cutting, rolls []stock.Roll, lots []stock.Lot, needs []stock.Need) (wide, narrow template.HTML) {
	d := drawing.RollsCut{Sentence: "Rolls of " + o.Item.Name + " at one scale with the pieces cut from each; the same facts stand in the table"}
	for i, roll := range rolls {
		row := drawing.RollRow{Head: lots[i].Lot + ", " + r.quantity(o.Item, lots[i].OnHand), Foot: lots[i].Shelf, Length: float64(roll.LengthMM) / 1000, Rest: "not cut"}
		if at := slices.IndexFunc(c.Cuts, func(x stock.Cut) bool { return x.Roll == i }); at >= 0 {
			cut := c.Cuts[at]
			for _, n := range cut.Pieces {
				row.Cuts = append(row.Cuts, drawing.RollCut{Length: needs[n].Quantity.Float(), Words: fmt.Sprintf("%d: %s", needs[n].Number, r.quantity(o.Item, needs[n].Quantity)), Placed: needs[n].Placed})
			}
			row.Rest, row.Waste = restWords(r, o, cut), !cut.Kept
		}
		d.Longest = max(d.Longest, row.Length)
		d.Rows = append(d.Rows, row)
	}
	if len(d.Rows) == 0 {
		return "", ""
	}
	wide = drawing.OfRolls(d)
	d.Narrow = true
	return wide, drawing.OfRolls(d)
}
