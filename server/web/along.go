package web

import (
	"cmp"
	"encoding/json"
	"errors"
	"io"
	"math"
	"net/http"
	"slices"
	"strconv"
	"time"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
)

// SheetSent is what came in from a device for a sheet: its head, what was noted at a step, or a signature.
type SheetSent struct {
	Device, DeviceName string
	ClientID           string         // made on the device
	Offset             time.Duration  // of the device's clock now
	DeviceAt           assets.Instant // when it was entered, by the device's clock
	OffsetUS           *int64         // of the device's clock at the last contact before; nil: there was none
	Order              workorder.Order
	Form               assets.Form
	Bond               assets.Bond
	Head               *SheetHead
	Entry              *assets.JobEntry
	Signature          *assets.JobSignature
}

// SignatureFile is a signature from a device with its order and the names in it.
type SignatureFile struct {
	Signature  assets.JobSignature
	Order      workorder.Order
	By, SentBy string
}

// alongPage answers, at the conveyor and without a network: what comes next, what was measured, what is kept and not sent yet?
type alongPage struct {
	Page
	Facts, Send, Files string // addresses
	Number, PlantNo    int64
	Plain              string // the form to use without script
}

// along is what travels with a sheet and is kept on the device.
type along struct {
	Now      int64         `json:"now"` // milliseconds
	Ended    bool          `json:"ended"`
	Person   int64         `json:"person"`
	Name     string        `json:"name"`
	May      bool          `json:"may"`
	Open     bool          `json:"open"` // steps can be noted
	Heading  string        `json:"heading"`
	Where    string        `json:"where"`
	Units    string        `json:"units"`
	Cautions []string      `json:"cautions"`
	Rules    string        `json:"rules"`
	Head     SheetHead     `json:"head"`
	With     []alongFact   `json:"with"`
	Computed []computedRow `json:"computed"`
	Missing  []string      `json:"missing"`
	Steps    []alongStep   `json:"steps"`
	Counts   []alongCount  `json:"counts"`
	Takes    []alongCount  `json:"takes"`
	Crew     []alongPerson `json:"crew"`
	Seal     string        `json:"seal"` // key that PINs are sealed to
	Remakes  bool          `json:"remakes"`
	Length   string        `json:"length"` // unit of the length the loop lost
}

type alongFact struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

type alongStep struct {
	Key   string   `json:"key"`
	No    int      `json:"no"`
	Words string   `json:"words"`
	Ask   string   `json:"ask"`
	Check bool     `json:"check"`
	Photo bool     `json:"photo"`
	Unit  string   `json:"unit"`
	Least *float64 `json:"least,omitempty"` // in the unit it is typed in
	Most  *float64 `json:"most,omitempty"`
	Found string   `json:"found"` // noted so far
	State string   `json:"state"`
	Wants bool     `json:"wants"` // a measured value
}

// alongCount is what a job counts on its kit or takes from stock, with what it usually is.
type alongCount struct {
	Key   string `json:"key"`
	Name  string `json:"name"`
	Unit  string `json:"unit"`
	Usual string `json:"usual"`
}

type alongPerson struct {
	ID   int64  `json:"id"`
	Name string `json:"name"`
}

func (s *Site) alongOrder(r *Request) (*OrderFile, fleetView, error) {
	number, err := r.ID("order")
	if err != nil {
		return nil, fleetView{}, err
	}
	file, err := s.Orders.Order(r.Context(), r.Scope, r.PlantID(), number)
	if err != nil {
		return nil, fleetView{}, err
	}
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	return file, viewOf(fl, r.F), err
}

// takeAlong shows the sheet that a device keeps.
func (s *Site) takeAlong(r *Request) error {
	file, v, err := s.alongOrder(r)
	if err != nil {
		return err
	}
	n := file.Order.Number
	p := &alongPage{Facts: r.At("orders", n, "along", "facts"), Send: r.At("orders", n, "along", "entries"), Files: r.At("orders", n, "files"), Number: n, PlantNo: r.PlantID(), Plain: r.At("orders", n, "sheet")}
	p.Sheet, p.Say = "Sheet taken along", Capital(orderHeading(file.Order, v))
	p.Sub = "Order " + plainInt(n) + ". Kept on this device and sent by itself, each entry once, as soon as there is a network."
	return r.Show("along", p)
}

// alongFacts sends what travels with the sheet.
func (s *Site) alongFacts(r *Request) error {
	file, v, err := s.alongOrder(r)
	if err != nil {
		return err
	}
	o, sp := file.Order, splicedBy(v, file.Order)
	sheet, err := s.Worksheets.Sheet(r.Context(), r.Scope, o, sp.Form, sp.Bond)
	if err != nil {
		return err
	}
	a := along{Now: r.Now.UnixMilli(), Person: r.Who.Person.ID, Name: r.Who.Person.Name, May: r.May(people.DoJob), Open: sheetOpen(o), Heading: orderHeading(o, v), Units: string(r.F.Units),
		Rules: r.Plant.Plant.SiteRules, Head: SheetHead{sheet.Sheet.Isolation, sheet.Sheet.Permit}, Remakes: remakes(o), Length: unit.Travel.Sign(r.F.Units)}
	if c, ok := v.Register.Conveyor(o.ConveyorID); ok {
		a.Cautions, a.Where = cautions(c, v, o), c.Tag+", "+v.Register.LineName(c)
		if a.Head.Isolation == "" {
			a.Head.Isolation = c.IsolationGroup
		}
	}
	figures, err := s.computed(r, v, o, nil)
	if err != nil {
		return err
	}
	a.Computed, a.Missing = figures.Rows, figures.Missing
	for _, f := range slices.Concat(r.orderFacts(file, v), r.workedOn(o, v), figures.Recipe) {
		a.With = append(a.With, alongFact(f))
	}
	laid, err := s.prepared(r, o)
	if err != nil {
		return err
	}
	for _, f := range laid {
		a.With = append(a.With, alongFact(f))
	}
	for i, step := range sheet.Sheet.Steps {
		a.Steps = append(a.Steps, r.alongStep(i+1, step, sheet))
	}
	if err := s.alongCounts(r, o, &a); err != nil {
		return err
	}
	crew, err := s.Orders.Crew(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	for _, p := range crew {
		a.Crew = append(a.Crew, alongPerson{p.ID, p.Name})
	}
	if a.Seal, err = s.desk.SealTo(r.Context()); err != nil {
		return err
	}
	if device := r.Query("device"); device != "" {
		there, _ := strconv.ParseInt(r.Query("now"), 10, 64) // without a number the offset is only not known
		if a.Ended, err = s.RoundBook.Contact(r.Context(), device, r.Now, offsetOf(there, r.Now)); err != nil {
			return err
		}
	}
	r.C.JSON(http.StatusOK, a)
	return nil
}

func (r *Request) alongStep(no int, step assets.JobStep, sheet SheetFile) alongStep {
	row := r.sheetRow(no, step, sheet)
	out := alongStep{Key: step.Key, No: no, Words: step.Words, Ask: row.Ask, Check: step.Check, Photo: step.Photo, Unit: step.Unit, State: row.State, Wants: step.Measure != ""}
	if row.State != "" {
		out.Found = joinWords(row.State, row.Value, row.Note, row.When, row.Who)
	}
	limit := func(v *float64) *float64 { return v }
	if field, per := stepUnit(step.Unit); field != nil {
		out.Unit = field.Sign(r.F.Units)
		limit = func(v *float64) *float64 {
			if v == nil {
				return nil
			}
			in := math.Round(field.In(*v*per, r.F.Units)*1e4) / 1e4 // as fine as anybody gauges
			return &in
		}
	}
	out.Least, out.Most = limit(step.Least), limit(step.Most)
	return out
}

// alongCounts adds what the job counts on the kit it was placed with, and what it takes from stock.
func (s *Site) alongCounts(r *Request, o workorder.Order, a *along) error {
	kits, err := s.StoreBook.KitRoom(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	for _, id := range o.PlacedTools {
		k, _ := kits.Of(id)
		for _, c := range kits.Counters[id] {
			if c.Moves() { // by counter: of two presses each has its own
				a.Counts = append(a.Counts, alongCount{Key: plainInt(c.ID), Name: Capital(string(c.Counts)) + ", " + joinWords(k.Name, c.Part), Unit: c.Counts.Unit(), Usual: plainNumber(c.PerJob)})
			}
		}
	}
	room, err := s.StoreBook.Room(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil || room.Demand == nil {
		return err
	}
	only := *room.Demand
	only.Orders = []workorder.Order{o}
	for _, it := range room.Items {
		if needs := only.Needs()[it.ID]; len(needs) > 0 {
			a.Takes = append(a.Takes, alongCount{Key: plainInt(it.ID), Name: it.Name, Unit: string(it.Unit), Usual: needs[0].Quantity.String()})
		}
	}
	return nil
}

// sentSheet is what a device sends: times are milliseconds by its clock, values as they were typed in Units.
type sentSheet struct {
	fromDevice
	What      string `json:"what"` // head, step, signature
	Units     string `json:"units"`
	Isolation string `json:"isolation"`
	Permit    string `json:"permit"`
	Key       string `json:"key"`
	State     string `json:"state"`
	Value     string `json:"value"`
	Note      string `json:"note"`

	Signer   int64             `json:"signer"`
	Sealed   string            `json:"sealed"` // client_id, line feed and PIN, to the server's key
	BeganAt  int64             `json:"began_at"`
	DoneAt   int64             `json:"done_at"`
	Hours    float64           `json:"hours"`
	Retired  string            `json:"retired"`
	Failure  string            `json:"failure_mode"`
	ShorterM string            `json:"shorter"`
	Wear     map[string]string `json:"wear"` // by counter
	Taken    map[string]string `json:"taken"`
}

// takeAlongEntry keeps what a device sends. What is wrong with it is said with it and stays on the device.
func (s *Site) takeAlongEntry(r *Request) error {
	file, v, err := s.alongOrder(r)
	if err != nil {
		return err
	}
	var in sentSheet
	if err := json.NewDecoder(io.LimitReader(r.C.Request.Body, mostEntry)).Decode(&in); err != nil {
		return r.answerDevice(entryAnswer{}, assets.Invalid{"": "this is no entry of a sheet; open the sheet again and enter it once more"})
	}
	answer, err := s.keepAlong(r, file.Order, splicedBy(v, file.Order), in)
	return r.answerDevice(answer, err)
}

// answerDevice says to a device what became of what it sent.
func (r *Request) answerDevice(answer entryAnswer, err error) error {
	var bad assets.Invalid
	switch {
	case errors.Is(err, ErrDeviceEnded):
		r.C.JSON(http.StatusGone, entryAnswer{Result: "ended", Words: ErrDeviceEnded.Error()})
	case errors.As(err, &bad):
		r.C.JSON(http.StatusUnprocessableEntity, entryAnswer{Result: "refused", Words: bad.Error()})
	case err != nil:
		return err
	default:
		r.C.JSON(http.StatusOK, answer)
	}
	return nil
}

func (s *Site) keepAlong(r *Request, o workorder.Order, sp assets.Splice, in sentSheet) (entryAnswer, error) {
	if in.Person != r.Who.Person.ID {
		return entryAnswer{}, assets.Invalid{"": "somebody else entered this on this device; it is sent when they sign in"}
	}
	if err := in.fit(); err != nil {
		return entryAnswer{}, err
	}
	sent := &SheetSent{Device: in.Device, ClientID: in.ClientID, DeviceName: in.DeviceName, Offset: in.sentOffset(r.Now), DeviceAt: assets.Instant(in.DeviceAt * 1000), OffsetUS: in.offsetUS(r.Now), Order: o, Form: sp.Form, Bond: sp.Bond}
	answer := entryAnswer{Result: "kept"}
	var err error
	switch in.What {
	case "head":
		sent.Head = &SheetHead{Isolation: in.Isolation, Permit: in.Permit}
	case "step":
		sent.Entry, err = s.alongEntry(r, o, sp, in)
	case "signature":
		return s.keepSignature(r, sent, in)
	default:
		err = assets.Invalid{"": "this is no entry of a sheet; open the sheet again and enter it once more"}
	}
	if err != nil {
		return answer, err
	}
	again, err := s.Worksheets.TakeSheet(r.Context(), r.Scope, r.act("note the sheet of order "+plainInt(o.Number), ""), sent)
	if again {
		answer.Result = "already"
	}
	return answer, err
}

// fit refuses what no field of a form would take either, and times that no clock of a device shows.
func (in sentSheet) fit() error {
	bad := assets.Invalid{}
	for name, text := range map[string]string{"isolation": in.Isolation, "permit": in.Permit, "failure_mode": in.Failure} {
		if message := (&Field{Kind: "text", Value: text}).unfit(); message != "" {
			bad.Add(name, message)
		}
	}
	if message := (&Field{Kind: "area", Value: in.Note}).unfit(); message != "" {
		bad.Add("note", message)
	}
	for _, at := range []int64{in.DeviceAt, cmp.Or(in.BeganAt, in.DeviceAt), cmp.Or(in.DoneAt, in.DeviceAt)} {
		if at < firstClock || at > lastClock {
			bad.Add("device_at", "the time of this entry cannot be; set this device's clock and enter it once more")
		}
	}
	return bad.Err()
}

// program is an instant of the device by the program's clock.
func (in sentSheet) program(ms int64, now time.Time) assets.Instant {
	e := assets.RoundEntry{DeviceAt: assets.Instant(ms * 1000), OffsetUS: in.offsetUS(now), SentOffsetUS: in.sentOffset(now).Microseconds(), ArrivedAt: assets.InstantOf(now)}
	return assets.InstantOf(clocksOf(e).Program())
}

func (s *Site) alongEntry(r *Request, o workorder.Order, sp assets.Splice, in sentSheet) (*assets.JobEntry, error) {
	sheet, err := s.Worksheets.Sheet(r.Context(), r.Scope, o, sp.Form, sp.Bond)
	if err != nil {
		return nil, err
	}
	deviceAt, sentOffset := assets.Instant(in.DeviceAt*1000), in.sentOffset(r.Now).Microseconds()
	e := &assets.JobEntry{StepKey: in.Key, State: in.State, Note: in.Note, ClientID: in.ClientID, At: in.program(in.DeviceAt, r.Now), DeviceAt: &deviceAt, OffsetUS: in.offsetUS(r.Now), SentOffsetUS: &sentOffset}
	i := slices.IndexFunc(sheet.Sheet.Steps, func(x assets.JobStep) bool { return x.Key == in.Key })
	if i < 0 || in.Value == "" {
		return e, nil // which step and which value are missing, the statement says
	}
	e.Value, err = typedValue(sheet.Sheet.Steps[i], in.Value, assets.UnitSystem(in.Units))
	return e, err
}

// typedValue reads a step's value as it was typed on a device.
func typedValue(step assets.JobStep, typed string, units assets.UnitSystem) (*float64, error) {
	v, err := strconv.ParseFloat(typed, 64)
	if field, per := stepUnit(step.Unit); field != nil {
		var m unit.Measure
		if m, err = field.Parse(typed, units); err == nil {
			v, _ = m.Stored().Float64()
			v /= per
		}
	}
	if err != nil {
		return nil, assets.Invalid{"value": "give the measured value as a number"}
	}
	return &v, nil
}

// keepSignature keeps a signature with what was counted, checks PIN and ticket, and signs the order by it or leaves it to the lead.
func (s *Site) keepSignature(r *Request, sent *SheetSent, in sentSheet) (entryAnswer, error) {
	g, err := signatureSent(r, sent.Order, in)
	if err != nil {
		return entryAnswer{}, err
	}
	// One whose grant ended since they signed is not turned away here: the signature is kept and the lead decides.
	may, err := s.Worksheets.MayHaveSigned(r.Context(), r.Scope, r.PlantID(), in.Signer)
	if err != nil {
		return entryAnswer{}, err
	}
	if !may {
		return entryAnswer{}, assets.Invalid{"signer": "whoever signs must be among the people of this plant; choose from the list"}
	}
	says, err := s.desk.CheckPIN(r.Context(), in.Signer, in.ClientID, in.Sealed)
	if err != nil {
		return entryAnswer{}, err
	}
	g.NumberRight, g.Why = says.Right, says.Why
	sent.Signature = g
	act := r.act("sign the sheet of order "+plainInt(sent.Order.Number), "")
	again, err := s.Worksheets.TakeSheet(r.Context(), r.Scope, act, sent)
	if err != nil {
		return entryAnswer{}, err
	}
	why := sent.Signature.Why
	if sent.Signature.State == assets.SignatureWaits && why == "" { // new, or the program ended before it was looked at
		if why, err = s.Worksheets.SignSheet(r.Context(), r.Scope, act, *sent.Signature, 0, ""); err != nil {
			return entryAnswer{}, err
		}
	}
	answer := entryAnswer{Result: pick(again, "already", "kept"), Words: "The order is signed."}
	if why != "" {
		answer.Words = "The signature is kept and waits for the lead: " + why + ". Nothing is lost."
	}
	return answer, nil
}

func signatureSent(r *Request, o workorder.Order, in sentSheet) (*assets.JobSignature, error) {
	bad := assets.Invalid{}
	g := &assets.JobSignature{PlantID: o.PlantID, OrderID: o.ID, ClientID: in.ClientID, PersonID: in.Signer, DeviceAt: assets.Instant(in.DeviceAt * 1000), OffsetUS: in.offsetUS(r.Now),
		SentOffsetUS: in.sentOffset(r.Now).Microseconds(), BeganAt: in.program(in.BeganAt, r.Now), DoneAt: in.program(in.DoneAt, r.Now), Hours: in.Hours, Note: in.Note,
		Counted: assets.JobCounted{Counters: map[int64]float64{}, Wear: map[assets.Wear]float64{}, Taken: map[int64]assets.Quantity{}}}
	if in.Signer <= 0 {
		bad.Add("signer", "choose who signs")
	}
	if !(in.Hours >= 0 && in.Hours <= 1000) {
		bad.Add("hours", "give the hours of work in the stop as a number")
	}
	if remakes(o) {
		shorter, err := unit.Travel.Parse(in.ShorterM, assets.UnitSystem(in.Units))
		if err != nil {
			bad.Add("shorter", "give by how much the loop is shorter; 0 when nothing was cut out")
		} else {
			m, _ := shorter.Stored().Float64()
			g.Made = &assets.JobMade{Retired: assets.RetiredWhy(in.Retired), FailureMode: in.Failure, ShorterM: m}
		}
	}
	for wear, typed := range in.Wear {
		n, err := strconv.ParseFloat(typed, 64)
		id := numberOf(wear)
		switch {
		case err != nil || !(n >= 0 && n <= 10000) || id == 0 && !slices.Contains(assets.Wears, assets.Wear(wear)):
			bad.Add("wear", "give what was counted as a number from 0 on: "+wear)
		case id != 0:
			g.Counted.Counters[id] = n
		default: // a sheet taken along before counters stood on it
			g.Counted.Wear[assets.Wear(wear)] = n
		}
	}
	for item, typed := range in.Taken {
		n, err := strconv.ParseFloat(typed, 64)
		q, ok := assets.QuantityOf(n)
		if err != nil || n < 0 || !ok || numberOf(item) == 0 {
			bad.Add("taken", "give what was taken from stock as a number from 0 on")
			continue
		}
		g.Counted.Taken[numberOf(item)] = q
	}
	return g, bad.Err()
}

// decideSignature answers: a signature came in that did not fit; does it stand?
func (s *Site) decideSignature(r *Request) error {
	id, err := r.ID("signature")
	if err != nil {
		return err
	}
	file, err := s.Worksheets.Signature(r.Context(), r.Scope, r.PlantID(), id)
	if err != nil {
		return err
	}
	g, n := file.Signature, file.Order.Number
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Decide", Leave: r.At("orders", n), Facts: r.signatureFacts(file), FactsOf: "The signature"}
		p.Sheet, p.Say = "Signature of order "+plainInt(n), "Decide on the signature of "+orNotKnown(file.By)+" under order "+plainInt(n)
		p.Says = []string{"What was noted on the sheet is kept whatever you decide. If a ticket was missing, enter the renewed one first: it is asked again for the day of the work. If the grant of whoever signed has ended, it is enough that they held it when the work was done."}
		stands := "It stands: ask again for order and ticket"
		if !g.NumberRight {
			stands = "It stands: I answer for it that " + orNotKnown(file.By) + " signed; ask again for order and ticket"
		}
		p.section("", f.Radio("stands", "The signature", "", []Option{{Value: "yes", Label: stands}, {Value: "no", Label: "It does not stand: the order is signed anew"}}).Must(),
			f.Area("why", "Reason", "").Must().OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		stands := oneOf(e, "stands", "say whether it stands", "yes", "no")
		why := e.must("why", "how you know")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if g.State != assets.SignatureWaits {
			return "", "", assets.ErrConflict
		}
		act := r.act("decide on a signature of order "+plainInt(n), why)
		if stands == "no" {
			return r.At("orders", n), "The signature is refused; the sheet keeps what was noted.", s.Worksheets.RefuseSignature(r.Context(), r.Scope, act, g, why)
		}
		still, err := s.Worksheets.SignSheet(r.Context(), r.Scope, act, g, r.Who.Person.ID, why)
		if err == nil && still != "" {
			err = assets.Invalid{"stands": "it does not fit yet: " + still}
		}
		return r.At("orders", n), "Order " + plainInt(n) + " is signed by " + orNotKnown(file.By) + ".", err
	})
}

// headClock says by which clock isolation point and permit were noted, "" where that was on a screen.
func (r *Request) headClock(s assets.JobSheet) string {
	if s.HeadDeviceAt == nil || s.HeadArrivedAt == nil || s.HeadSentOffsetUS == nil {
		return ""
	}
	before := "not heard of before"
	if s.HeadOffsetUS != nil {
		before = offsetWords(*s.HeadOffsetUS) + " at the last contact before"
	}
	return r.F.Stamp(*s.HeadDeviceAt) + " by the device's clock (" + before + ", " + offsetWords(*s.HeadSentOffsetUS) + " when it was sent); arrived " + r.F.Stamp(*s.HeadArrivedAt)
}

// headsBefore tells of isolation points and permits that arrived from a device after newer ones, and replaced nothing.
func (r *Request) headsBefore(file SheetFile) []Fact {
	var out []Fact
	for _, e := range file.Entries {
		if e.StepKey == assets.HeadStep {
			out = append(out, Fact{"Noted before, arrived late", Capital(e.Note) + ", noted " + r.F.Stamp(e.At) + " by " + orNotKnown(file.People[e.PersonID]) + ", arrived " + r.F.Stamp(e.EnteredAt) + ". What stands above is newer."})
		}
	}
	return out
}

func (r *Request) signatureFacts(f SignatureFile) []fact {
	g := f.Signature
	return []fact{{"Signed by", orNotKnown(f.By)}, {"Sent from the device of", orNotKnown(f.SentBy)}, {"Why it waits", Capital(g.Why)}, {"Work", r.F.Stamp(g.BeganAt) + " to " + r.F.Stamp(g.DoneAt)},
		{"By the device's clock", r.F.Stamp(g.DeviceAt)}, {"Device's clock when it was sent", offsetWords(g.SentOffsetUS)}, {"Arrived", r.F.Stamp(g.ArrivedAt)}}
}

// signatureDecision is a signature that waits, as Today tells it.
func (r *Request) signatureDecision(f SignatureFile, v fleetView) decision {
	d := decision{kind: unfitSign, Name: "Signature of order " + plainInt(f.Order.Number) + ", " + orderHeading(f.Order, v), Says: Capital(fullStop(f.Signature.Why)) + " The sheet and the signature of " + orNotKnown(f.By) + " are kept."}
	d.To = r.At("orders", f.Order.Number)
	r.lead(&d, "Decide", "signatures/:signature", people.KeepCrew, f.Signature.ID)
	return d
}
