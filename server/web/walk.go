package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/due"
	"carryside/schedule/people"
	"carryside/schedule/round"
	"carryside/schedule/rules"
	"carryside/server/web/drawing"
)

// walkPage answers, on a phone without a network: what is looked at next, what was found there, what is kept and not sent yet?
type walkPage struct {
	Page
	Points, Rounds   string // addresses of what travels with the page, and of all rounds
	Send             string // address entries are sent to; "": whoever looks may not enter
	Files            string // beginning of the address photos are sent to
	Plain            []Link // the forms to use without script
	RoundID, PlantNo int64
}

// walked is what travels with the page of a round and is kept on the phone.
type walked struct {
	Now      int64         `json:"now"` // milliseconds
	Ended    bool          `json:"ended"`
	Person   int64         `json:"person"`
	Name     string        `json:"name"`
	May      bool          `json:"may"`
	Round    string        `json:"round"`
	Rules    string        `json:"rules"` // the site's own
	Numbers  []walkNumber  `json:"numbers"`
	Kinds    []walkKind    `json:"kinds"`
	Grades   []string      `json:"grades"` // what they mean while no kind is chosen
	Short    []string      `json:"short"`  // each in a word, below its figure
	Measures []walkMeasure `json:"measures"`
	Points   []walkPoint   `json:"points"`
}

type walkNumber struct {
	Name  string `json:"name"`
	Duty  string `json:"duty"`
	Phone string `json:"phone"`
}

// walkKind is a kind of finding as it travels: with what its grades mean and what is usually measured at it.
type walkKind struct {
	Name     string   `json:"name"`
	Grades   []string `json:"grades"`
	Quantity string   `json:"quantity"`
}

type walkMeasure struct {
	Quantity string  `json:"quantity"`
	Sign     string  `json:"sign"`
	Step     float64 `json:"step"`
}

type walkPoint struct {
	Key   string `json:"key"`
	Name  string `json:"name"`
	Look  string `json:"look"`
	Due   string `json:"due"`
	Used  string `json:"used"`
	Last  string `json:"last"`
	Limit string `json:"limit"`
	Belt  string `json:"belt"` // the conveyor's belt with what is looked at on it, drawn
	Group string `json:"group"`
	To    string `json:"to"`

	Measured []walkMeasured `json:"measured,omitempty"`
}

// walkMeasured is what stands beside the field of a quantity at a point: its last value and its limit.
type walkMeasured struct {
	Quantity string   `json:"quantity"`
	Last     *float64 `json:"last,omitempty"` // in the unit it is typed in
	On       string   `json:"on,omitempty"`
	Limit    string   `json:"limit,omitempty"`
}

func (s *Site) walk(r *Request) error {
	rd, points, err := s.walkOf(r)
	if err != nil {
		return err
	}
	p := &walkPage{Points: r.At("rounds", rd.ID, "points"), Rounds: r.At("rounds"), Files: r.At("findings"), RoundID: rd.ID, PlantNo: r.PlantID()}
	p.Sheet, p.Say = "Round", "Walk "+rd.Name+": "+Count(len(points), "point", "points")
	p.Sub = "Stay outside the guards of a running belt. To touch or measure, the belt stands still and is isolated by the site's own rules."
	if r.May(people.RecordFinding) {
		p.Send = r.At("rounds", rd.ID, "entries")
	}
	for _, pt := range points {
		p.Plain = append(p.Plain, Link{Word: pt.Name + ", " + pt.Look, To: pt.To})
	}
	return r.Show("walk", p)
}

// walkPoints sends what travels with the page.
func (s *Site) walkPoints(r *Request) error {
	rd, points, err := s.walkOf(r)
	if err != nil {
		return err
	}
	owner, err := s.Owners.Owner(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	w := walked{Now: r.Now.UnixMilli(), Person: r.Who.Person.ID, Name: r.Who.Person.Name, May: r.May(people.RecordFinding), Round: rd.Name, Rules: r.Plant.Plant.SiteRules,
		Grades: assets.GradeWords[:], Short: assets.GradeShort[:], Points: points}
	all, err := r.kinds()
	if err != nil {
		return err
	}
	for _, k := range all.Offered() {
		kind := walkKind{Name: k.Name, Quantity: k.Quantity}
		for g := range assets.GradeWords {
			kind.Grades = append(kind.Grades, k.Words(g))
		}
		w.Kinds = append(w.Kinds, kind)
	}
	for _, c := range owner.Contacts {
		if c.Phone != "" {
			w.Numbers = append(w.Numbers, walkNumber{owner.People[c.PersonID], c.Duty, c.Phone})
		}
	}
	for _, m := range measurements {
		step := 1.0
		if m.Field != nil {
			if step = 0.1; r.F.us() {
				step = 0.05
			}
		}
		w.Measures = append(w.Measures, walkMeasure{m.Quantity, m.sign(r.F.Units), step})
	}
	if device := r.Query("device"); device != "" {
		there, _ := strconv.ParseInt(r.Query("now"), 10, 64) // without a number the offset is only not known
		w.Ended, err = s.RoundBook.Contact(r.Context(), device, r.Now, offsetOf(there, r.Now))
	}
	if err == nil {
		r.C.JSON(http.StatusOK, w)
	}
	return err
}

// offsetOf is how far a phone's clock, in milliseconds, is ahead of now; at most some years, which no person sets by mistake.
func offsetOf(ms int64, now time.Time) time.Duration {
	const most = int64(20 * 365 * 24 * time.Hour / time.Millisecond)
	off := ms - now.UnixMilli()
	return time.Duration(max(-most, min(most, off))) * time.Millisecond
}

// lastFor is how far back the last finding of a point is looked for.
const lastFor = 3 * 365 * 24 * time.Hour

func (s *Site) walkOf(r *Request) (assets.Round, []walkPoint, error) {
	id, err := r.ID("round")
	if err != nil {
		return assets.Round{}, nil, err
	}
	rd, err := s.RoundBook.Round(r.Context(), r.Scope, r.PlantID(), id)
	if err != nil {
		return rd, nil, err
	}
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return rd, nil, err
	}
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return rd, nil, err
	}
	found, err := s.RoundBook.RoundFindings(r.Context(), r.Scope, r.PlantID(), assets.InstantOf(r.Now.Add(-lastFor)))
	if err != nil {
		return rd, nil, err
	}
	kinds, err := s.Catalogues.SpliceKinds(r.Context())
	if err != nil {
		return rd, nil, err
	}
	v := viewOf(fl, r.F)
	var out []walkPoint
	wide, err := s.RoundBook.WideInspections(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return rd, nil, err
	}
	for _, p := range round.Points(fl.Register, rd.LineIDs, open, wide) {
		w := r.walkPoint(v, p, found)
		w.Measured = r.walkMeasured(v, p, found, kinds)
		out = append(out, w)
	}
	return rd, out, nil
}

func (r *Request) walkPoint(v fleetView, p round.Point, found []assets.Finding) walkPoint {
	c, _ := v.Register.Conveyor(p.ConveyorID)
	w := walkPoint{Key: p.Key, Name: c.Tag + " " + p.Target, Look: p.Look, Group: v.Register.LineName(c), To: r.At("conveyors", c.ID)}
	if to, ok := r.Link("conveyors/:conveyor/finding", c.ID); ok {
		w.To = to
		if p.SpliceID != 0 {
			w.To += "?splice=" + plainInt(p.SpliceID)
		}
	}
	w.Belt = string(drawing.Glyph(v.drawnOnly(c, r.PlantID(), p.SpliceID)))
	for _, o := range p.Orders {
		w.Due = joinWords(w.Due, "inspection "+plainInt(o)+" is open")
	}
	if st, ok := v.standing(p.SpliceID); ok {
		if st.Used.Known {
			w.Used = Percent(st.Used.Value) + " used"
		}
		if st.DueDay != "" {
			w.Limit = "Due " + r.F.Day(st.DueDay) + ": " + st.By
		}
	}
	for _, f := range found {
		if p.Of(f) {
			w.Last = "Last " + r.findingWords(f)
			break
		}
	}
	return w
}

// walkMeasured is the last value and the limit of each quantity that has one of them at a point.
func (r *Request) walkMeasured(v fleetView, p round.Point, found []assets.Finding, kinds []assets.SpliceKind) (out []walkMeasured) {
	for _, m := range measurements {
		w := walkMeasured{Quantity: m.Quantity, Limit: r.limitWords(v, p, m, kinds)}
		for _, f := range found { // the newest first
			if f.Measurement == nil || f.Quantity != m.Quantity || !p.Of(f) {
				continue
			}
			last := *f.Measurement
			if m.Field != nil {
				var err error
				if last, err = strconv.ParseFloat(m.Field.Entry(last, "", r.F.Units), 64); err != nil {
					break // an entry in feet and inches is no number to compare with; the words of the last finding tell it
				}
			}
			w.Last, w.On = &last, r.F.Date(f.FoundAt)
			break
		}
		if w.Last != nil || w.Limit != "" {
			out = append(out, w)
		}
	}
	return out
}

// limitWords is the limit of a quantity at a point with its class: "Limit here 4.0 mm, handbook".
func (r *Request) limitWords(v fleetView, p round.Point, m measured, kinds []assets.SpliceKind) string {
	c, _ := v.Register.Conveyor(p.ConveyorID)
	if m.Quantity == rules.TakeUpTravel {
		if c.TakeUpTravelM <= 0 || p.Target != "take-up" {
			return ""
		}
		return "Whole travel here " + r.F.Travel(c.TakeUpTravelM)
	}
	b, _ := v.Register.Belt(p.BeltID)
	var s *assets.Splice
	if sp, ok := v.Register.Splice(p.SpliceID); ok {
		s = &sp
	} else if p.Target != "belt" {
		return ""
	}
	limit, ok := due.LimitFor(m.Quantity, s, b, v.Register, kinds)
	if !ok {
		return ""
	}
	return "Limit here " + r.F.measurement(assets.Finding{Quantity: m.Quantity, Measurement: &limit.Value, MeasurementUnit: limit.Unit}) + ", " + limit.Class.Words()
}

// fromDevice is what comes with everything that a device sends; times are milliseconds by its clock.
type fromDevice struct {
	ClientID   string `json:"client_id"`
	Device     string `json:"device"`
	DeviceName string `json:"device_name"`
	DeviceNow  int64  `json:"device_now"`
	DeviceAt   int64  `json:"device_at"`
	Offset     *int64 `json:"offset"`
	Person     int64  `json:"person"`
}

// sentOffset is how far the device's clock is ahead now.
func (d fromDevice) sentOffset(now time.Time) time.Duration { return offsetOf(d.DeviceNow, now) }

// offsetUS is how far it was ahead at the last contact before; nil: there was none.
func (d fromDevice) offsetUS(now time.Time) *int64 {
	if d.Offset == nil {
		return nil
	}
	us := offsetOf(*d.Offset+now.UnixMilli(), now).Microseconds()
	return &us
}

// sentEntry is an entry as a phone sends it.
type sentEntry struct {
	fromDevice
	Revision  int64  `json:"revision"`
	Key       string `json:"key"`
	Nothing   bool   `json:"nothing"`
	Running   *bool  `json:"running"`
	Category  string `json:"category"`
	Grade     *int   `json:"grade"`
	Quantity  string `json:"quantity"`
	Value     string `json:"value"`
	Text      string `json:"text"`
	CalledWho string `json:"called_who"`
	CalledAt  *int64 `json:"called_at"`
}

// entryAnswer says what became of an entry.
type entryAnswer struct {
	Result  string `json:"result"` // kept, already, ask, refused, ended
	Words   string `json:"words"`
	Finding int64  `json:"finding,omitempty"`
}

// nothingFound is the kind of a finding that says that a point was looked at and nothing was found; it has no grade, since it
// says nothing of wear.
const nothingFound = "nothing found"

// mostEntry is the largest entry taken; photos come by themselves.
const mostEntry = 64 << 10

// takeEntry keeps what a phone sends. What is wrong with an entry is said with it and stays on the phone.
func (s *Site) takeEntry(r *Request) error {
	id, err := r.ID("round")
	if err != nil {
		return err
	}
	if _, err := s.RoundBook.Round(r.Context(), r.Scope, r.PlantID(), id); err != nil {
		return err
	}
	var in sentEntry
	if err := json.NewDecoder(io.LimitReader(r.C.Request.Body, mostEntry)).Decode(&in); err != nil {
		r.C.JSON(http.StatusUnprocessableEntity, entryAnswer{Result: "refused", Words: "this is no entry of a round; open the round again and enter it once more"})
		return nil
	}
	return r.answerDevice(s.keepEntry(r, id, in))
}

// fit refuses what no field of a form would take either, and times that no clock of a phone shows.
func (in sentEntry) fit() error {
	bad := assets.Invalid{}
	for name, fd := range map[string]Field{"text": {Kind: "area", Value: in.Text}, "category": {Kind: "text", Value: in.Category}, "called_who": {Kind: "text", Value: in.CalledWho}} {
		if message := fd.unfit(); message != "" {
			bad.Add(name, message)
		}
	}
	called := in.DeviceAt
	if in.CalledAt != nil {
		called = *in.CalledAt
	}
	if min(in.DeviceAt, called) < firstClock || max(in.DeviceAt, called) > lastClock {
		bad.Add("device_at", "the time of this entry cannot be; set this phone's clock and enter it once more")
	}
	return bad.Err()
}

// The years a phone's clock may show, 2000 to 2099, in milliseconds; one that is wrong within them is asked about.
const firstClock, lastClock = 946_684_800_000, 4_102_444_800_000

func (s *Site) keepEntry(r *Request, roundID int64, in sentEntry) (entryAnswer, error) {
	if in.Person != r.Who.Person.ID {
		return entryAnswer{}, assets.Invalid{"": "somebody else entered this on this phone; it is sent when they sign in"}
	}
	if err := in.fit(); err != nil {
		return entryAnswer{}, err
	}
	sent := &RoundSent{Device: in.Device, DeviceName: in.DeviceName, Offset: in.sentOffset(r.Now)}
	sent.Entry = assets.RoundEntry{PlantID: r.PlantID(), RoundID: roundID, ClientID: in.ClientID, Revision: in.Revision,
		DeviceAt: assets.Instant(in.DeviceAt * 1000), OffsetUS: in.offsetUS(r.Now), SentOffsetUS: sent.Offset.Microseconds(), ArrivedAt: assets.InstantOf(r.Now), Clock: assets.ClocksAgree, CalledWho: strings.TrimSpace(in.CalledWho)}
	if in.CalledAt != nil {
		at := assets.Instant(*in.CalledAt * 1000)
		sent.Entry.CalledAt = &at
	}
	clocks := clocksOf(sent.Entry)
	if clocks.Apart() {
		sent.Entry.Clock = assets.ClocksAsked
	}
	tag, err := s.findingSent(r, in, &sent.Finding)
	if err != nil {
		return entryAnswer{}, err
	}
	sent.Finding.FoundAt = assets.InstantOf(clocks.Program())
	sent.Finding.FoundDay = assets.DayOf(r.F.Local(sent.Finding.FoundAt))
	again, err := s.RoundBook.TakeEntry(r.Context(), r.Scope, r.act("record a finding at "+tag+" on a round", ""), sent)
	if err != nil {
		return entryAnswer{}, err
	}
	a := entryAnswer{Result: "kept", Words: findingNotice(tag, sent.Finding, again), Finding: sent.Finding.ID}
	if again {
		a.Result = "already"
	}
	if sent.Entry.Clock == assets.ClocksAsked {
		a.Result, a.Words = "ask", a.Words+" This phone's clock and the program's are more than five minutes apart: say on the page of the rounds which time is right."
	}
	return a, nil
}

// clocksOf is what an entry tells of when it was made.
func clocksOf(e assets.RoundEntry) round.Clocks {
	c := round.Clocks{Phone: e.DeviceAt.Time(), SentOffset: time.Duration(e.SentOffsetUS) * time.Microsecond, Arrived: e.ArrivedAt.Time()}
	if e.OffsetUS != nil {
		off := time.Duration(*e.OffsetUS) * time.Microsecond
		c.Offset = &off
	}
	return c
}

// findingSent reads what was found. What was looked at may have ended since: it still is what was looked at.
func (s *Site) findingSent(r *Request, in sentEntry, f *assets.Finding) (tag string, err error) {
	c, err := s.pointSent(r, in.Key, f)
	if err != nil {
		return "", err
	}
	bad := assets.Invalid{}
	f.Category, f.Grade, f.Text, f.Running = strings.TrimSpace(in.Category), in.Grade, strings.TrimSpace(in.Text), in.Running
	if in.Nothing {
		f.Category, f.Grade = nothingFound, nil
		if f.Text == "" {
			f.Text = "looked at on a round, nothing found"
		}
	}
	if in.Quantity != "" {
		r.measureSent(in, f, bad)
	}
	return c.Tag, bad.Err()
}

func (r *Request) measureSent(in sentEntry, f *assets.Finding, bad assets.Invalid) {
	m, known := measurementOf(in.Quantity)
	if !known {
		bad.Add("quantity", "choose what was measured from the list")
		return
	}
	v, err := strconv.ParseFloat(in.Value, 64)
	if m.Field != nil {
		var parsed unit.Measure
		if parsed, err = m.Field.Parse(in.Value, r.F.Units); err == nil {
			v, _ = parsed.Stored().Float64()
		}
	}
	switch {
	case err != nil:
		bad.Add("measurement", "give the measured value as a number")
	case v < 0 || v > 1e6 || m.Unit == "Shore A" && v > 100:
		bad.Add("measurement", "this value cannot be measured here; look at it again")
	default:
		f.Quantity, f.Measurement, f.MeasurementUnit = m.Quantity, &v, m.Unit
	}
}

// pointSent finds what a point's key stands for.
func (s *Site) pointSent(r *Request, key string, f *assets.Finding) (assets.Conveyor, error) {
	digits := strings.TrimLeft(key, "abcdefghijklmnopqrstuvwxyz-")
	kind, id := strings.TrimSuffix(key, digits), numberOf(digits)
	f.PlantID = r.PlantID()
	conveyor := id
	if kind == "s" {
		sp, err := s.Registers.Splice(r.Context(), r.Scope, id)
		if err = r.ofPlant(sp.PlantID, err); err != nil {
			return assets.Conveyor{}, notThere(err)
		}
		f.SpliceID, f.BeltID, f.Target, conveyor = sp.ID, sp.BeltID, spliceMark(sp), sp.ConveyorID
	}
	c, err := s.Registers.Conveyor(r.Context(), r.Scope, conveyor)
	if err = r.ofPlant(c.PlantID, err); err != nil {
		return c, notThere(err)
	}
	f.ConveyorID = c.ID
	if kind == "s" {
		return c, nil
	}
	if kind != "belt" && kind != "take-up" && kind != "head" {
		return c, notThere(assets.ErrNotFound)
	}
	f.Target = kind
	reg, err := s.register(r)
	if err != nil {
		return c, err
	}
	if b, on := reg.BeltOn(c.ID, 0); on && kind != "head" {
		f.BeltID = b.ID
	}
	return c, nil
}

func notThere(err error) error {
	if errors.Is(err, assets.ErrNotFound) {
		return assets.Invalid{"key": "what was looked at is not in this plant any more; record it with the form of the conveyor"}
	}
	return fmt.Errorf("read what was looked at: %w", err)
}
