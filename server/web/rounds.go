package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/schedule/round"
	"carryside/schedule/workorder"
)

// Rounds is the rounds of plants, what came in from phones on them, and the phones.
type Rounds interface {
	Rounds(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.Round, error)
	Round(ctx context.Context, scope assets.Scope, plantID, id int64) (assets.Round, error)
	// SaveRound adds a round (ID 0) or changes it. assets.Invalid names what is wrong; assets.ErrConflict when RowID is not the newest.
	SaveRound(ctx context.Context, scope assets.Scope, act Act, r *assets.Round) error
	// WideInspections says of which lines the open inspections are that rules raised for lines or the plant.
	WideInspections(ctx context.Context, scope assets.Scope, plantID int64) (round.Wide, error)
	RoundFindings(ctx context.Context, scope assets.Scope, plantID int64, since assets.Instant) ([]assets.Finding, error)
	// TakeEntry keeps an entry of a phone and its finding, once however often it is sent; sent then holds what is kept. ErrDeviceEnded
	// when the phone was ended.
	TakeEntry(ctx context.Context, scope assets.Scope, act Act, sent *RoundSent) (again bool, err error)
	// Contact notes that a phone was heard of, and tells whether it was ended.
	Contact(ctx context.Context, device string, now time.Time, offset time.Duration) (ended bool, err error)
	RoundEntry(ctx context.Context, scope assets.Scope, plantID, id int64) (RoundEntryFile, error)
	// EntriesAsked are those whose two clocks disagree; EntriesUnanswered those of grade 4 that nobody has answered.
	EntriesAsked(ctx context.Context, scope assets.Scope, plantID int64) ([]RoundEntryFile, error)
	EntriesUnanswered(ctx context.Context, scope assets.Scope, plantID int64) ([]RoundEntryFile, error)
	SetEntryClock(ctx context.Context, scope assets.Scope, act Act, e assets.RoundEntry, clock string, at assets.Instant, day assets.Day) error
	AnswerEntry(ctx context.Context, scope assets.Scope, act Act, e assets.RoundEntry) error
	// Phones are those a person first sent from; PhonesSeen also those of others that findings of a plant came from. EndPhone ends one of them.
	Phones(ctx context.Context, personID int64) ([]Phone, error)
	PhonesSeen(ctx context.Context, scope assets.Scope, plantID int64) ([]Phone, error)
	EndPhone(ctx context.Context, act Act, id int64) error
	// EndPhoneSeen ends a phone that findings of a plant came from, whosever it is. assets.ErrNotFound when none did.
	EndPhoneSeen(ctx context.Context, scope assets.Scope, act Act, plantID, id int64) error

	// FindingKinds are the kinds of finding with what each grade means; SaveFindingKind adds one (ID 0) or changes it.
	FindingKinds(ctx context.Context) (assets.FindingKinds, error)
	SaveFindingKind(ctx context.Context, act Act, k *assets.FindingKind) error
}

// ErrDeviceEnded says that nothing is taken from a phone any more.
var ErrDeviceEnded = errors.New("this phone was ended: nothing is taken from it, and what it keeps unsent is wiped")

// RoundSent is an entry of a phone on its way in.
type RoundSent struct {
	Entry              assets.RoundEntry
	Finding            assets.Finding
	Device, DeviceName string        // as the phone calls itself
	Offset             time.Duration // of its clock now
}

// RoundEntryFile is an entry with its finding.
type RoundEntryFile struct {
	Entry   assets.RoundEntry
	Finding assets.Finding
}

// Phone is a phone that findings come from.
type Phone struct {
	assets.Device
	Whose  string         // its person's name, where it is told
	LastAt assets.Instant // 0: never
	Offset time.Duration  // of its clock then
}

// roundsPage answers: which rounds are there to walk, what do they look at, what waits for a word?
type roundsPage struct {
	Page
	Rounds []roundLine
	Asked  []Link // entries whose time is asked about
	Phones []phoneLine
	Ends   string      // address that ends a phone
	Others []phoneLine // of others, for a lead
	EndsOf string
}

type roundLine struct {
	Name, To, Edit, Lines, Points string
	Due                           []dueLine
	latest                        assets.Day
}

// dueLine is an inspection that makes a round due.
type dueLine struct {
	Order Link
	Says  string
	Late  bool
	Done  string // where it is reported done, when all of it was seen
}

type phoneLine struct {
	ID, Name, Last, Ended string
	Whose                 string
}

func (s *Site) rounds(r *Request) error {
	all, err := s.RoundBook.Rounds(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	p := &roundsPage{}
	if p.Rounds, err = s.roundLines(r, all); err != nil {
		return err
	}
	p.Sheet, p.Say = "Rounds", r.roundsSay(p.Rounds)
	p.Sub = "Opened once with a network, a round can be walked without: what is entered stays on the phone and is sent when there is network again. Rules raise the inspections that make a round due."
	r.Offer(&p.Page, "Set up a round", "rounds/new", len(all) == 0)
	r.Offer(&p.Page, "Kinds of finding", "rounds/kinds", false)
	if err := s.fillRounds(r, p); err != nil {
		return err
	}
	return r.Show("rounds", p)
}

// roundsSay is the headline: which round is due first, and by when.
func (r *Request) roundsSay(rounds []roundLine) string {
	switch {
	case len(rounds) == 0:
		return "No round is set up yet"
	case len(rounds[0].Due) == 0:
		return "No round is due; " + Count(len(rounds), "is", "are") + " there to walk"
	case rounds[0].latest == "":
		return "The round " + rounds[0].Name + " has inspections open, without a latest date"
	case rounds[0].latest < r.F.Today():
		return "The round " + rounds[0].Name + " has been due since " + r.F.LongDay(rounds[0].latest)
	}
	return "The round " + rounds[0].Name + " is due by " + r.F.LongDay(rounds[0].latest)
}

// roundLines are the rounds, those due first before the others.
func (s *Site) roundLines(r *Request, all []assets.Round) ([]roundLine, error) {
	reg, err := s.register(r)
	if err != nil {
		return nil, err
	}
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return nil, err
	}
	wide, err := s.RoundBook.WideInspections(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return nil, err
	}
	since := assets.InstantOf(r.Now)
	for _, o := range open {
		since = min(since, o.RaisedAt)
	}
	found, err := s.RoundBook.RoundFindings(r.Context(), r.Scope, r.PlantID(), since)
	if err != nil {
		return nil, err
	}
	var out []roundLine
	for _, rd := range all {
		points := round.Points(reg, rd.LineIDs, open, wide)
		l := roundLine{Name: rd.Name, To: r.At("rounds", rd.ID), Lines: List(lineNames(reg, rd.LineIDs)), Points: Int(int64(len(points)))}
		l.Edit, _ = r.Link("rounds/:round/edit", rd.ID)
		for _, d := range round.DueOf(points, open, found) {
			l.Due = append(l.Due, r.dueLine(rd, d))
			if l.latest == "" {
				l.latest = d.Order.LatestDay
			}
		}
		out = append(out, l)
	}
	slices.SortStableFunc(out, func(a, b roundLine) int {
		if (len(a.Due) == 0) != (len(b.Due) == 0) {
			return len(b.Due) - len(a.Due)
		}
		return strings.Compare(string(cmp.Or(a.latest, "9999-12-31")), string(cmp.Or(b.latest, "9999-12-31")))
	})
	return out, nil
}

func (r *Request) dueLine(rd assets.Round, d round.Due) dueLine {
	l := dueLine{Order: Link{Word: "order " + orderShort(d.Order), To: r.At("orders", d.Order.Number)}, Late: workorder.OverdueDays(d.Order, r.F.Today()) > 0}
	l.Says = pick(d.Order.LatestDay == "", "without a latest date", "by "+r.F.Day(d.Order.LatestDay)) + ", "
	if d.Seen == d.Points {
		l.Says += pick(d.Points == 1, "its point has", "all its "+Int(int64(d.Points))+" points have") + " been seen since"
		if r.mayReport(d.Order) {
			l.Done, _ = r.Link("rounds/:round/done/:order", rd.ID, d.Order.Number)
		}
		return l
	}
	l.Says += fmt.Sprintf("%d of %s seen since", d.Seen, Figure(d.Points, "point", "points"))
	return l
}

func (s *Site) fillRounds(r *Request, p *roundsPage) error {
	if !r.May(people.RecordFinding) {
		return nil
	}
	asked, err := s.RoundBook.EntriesAsked(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	for _, f := range asked {
		p.Asked = append(p.Asked, Link{Word: r.findingWords(f.Finding), To: r.At("rounds", "clock", f.Entry.ID)})
	}
	phones, err := s.RoundBook.Phones(r.Context(), r.Who.Person.ID)
	if err != nil {
		return err
	}
	p.Ends = r.At("rounds", "phones")
	for _, ph := range phones {
		p.Phones = append(p.Phones, r.phoneLine(ph))
	}
	if !r.May(people.KeepCrew) {
		return nil
	}
	seen, err := s.RoundBook.PhonesSeen(r.Context(), r.Scope, r.PlantID())
	p.EndsOf = r.At("rounds", "phones", "others")
	for _, ph := range seen {
		if ph.PersonID != r.Who.Person.ID {
			p.Others = append(p.Others, r.phoneLine(ph))
		}
	}
	return err
}

func (r *Request) phoneLine(ph Phone) phoneLine {
	l := phoneLine{ID: plainInt(ph.ID), Name: pick(ph.Name == "", "a phone", ph.Name), Last: "never", Whose: ph.Whose}
	if ph.LastAt != 0 {
		l.Last = r.F.Stamp(ph.LastAt)
	}
	if ph.EndedAt != nil {
		l.Ended = "ended " + r.F.Stamp(*ph.EndedAt)
	}
	return l
}

func lineNames(reg *assets.Register, ids []int64) []string {
	var out []string
	for _, id := range ids {
		if l, ok := reg.Line(id); ok {
			out = append(out, l.Name)
		}
	}
	return out
}

// mostLines is how many lines one round may walk.
const mostLines = 8

// editRound answers: which lines does this round walk, and in which order?
func (s *Site) editRound(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	rd := assets.Round{PlantID: r.PlantID()}
	if r.C.Param("round") != "" {
		id, err := r.ID("round")
		if err != nil {
			return err
		}
		if rd, err = s.RoundBook.Round(r.Context(), r.Scope, r.PlantID(), id); err != nil {
			return err
		}
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the round", Leave: r.At("rounds")}
		p.Sheet, p.Say = "Round", pick(rd.ID == 0, "Say which lines the round walks", "Change the round "+rd.Name)
		p.Says = []string{"A round is walked outside the guards. The conveyors of each line are walked as the material flows; of each its splices, belt, take-up and head."}
		f.version(rd.Version)
		p.section("", f.Text("name", "Name", rd.Name).Must())
		var fields []*Field
		for i := range min(mostLines, max(3, len(reg.Lines))) {
			chosen := ""
			if i < len(rd.LineIDs) {
				chosen = plainInt(rd.LineIDs[i])
			}
			options := []Option{{Label: "no further line"}}
			for _, l := range reg.Lines {
				options = append(options, Option{Value: plainInt(l.ID), Label: l.Name})
			}
			fields = append(fields, f.Select(fmt.Sprintf("line_%d", i+1), fmt.Sprintf("Line walked as number %d", i+1), chosen, options))
		}
		p.section("In walking order", fields...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := rd
		next.RowID, next.Name, next.LineIDs = e.rowID(), e.must("name", "the round's name"), nil
		for i := range mostLines {
			id := numberOf(e.text(fmt.Sprintf("line_%d", i+1)))
			if id == 0 {
				continue
			}
			if _, ok := reg.Line(id); !ok {
				e.bad.Add(fmt.Sprintf("line_%d", i+1), "choose a line from the list")
			}
			if !slices.Contains(next.LineIDs, id) {
				next.LineIDs = append(next.LineIDs, id)
			}
		}
		if len(next.LineIDs) == 0 {
			e.bad.Add("line_1", "choose at least one line to walk")
		}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.RoundBook.SaveRound(r.Context(), r.Scope, r.act("keep the round "+next.Name, ""), &next)
		return r.At("rounds"), "Round " + next.Name + " kept.", err
	})
}

// entryClock answers: the phone's clock and the program's disagree; when was it found?
func (s *Site) entryClock(r *Request) error {
	file, err := s.entryAsked(r)
	if err != nil {
		return err
	}
	phone, program := file.Entry.DeviceAt, assets.InstantOf(clocksOf(file.Entry).Program())
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the time", Leave: r.At("rounds"), Facts: r.entryFacts(file), FactsOf: "The finding"}
		p.Sheet, p.Say = "Time of a finding", "Say when it was found: two clocks disagree"
		p.section("", f.Radio("clock", "It was found", "", []Option{
			{Value: assets.ClockProgram, Label: r.F.Stamp(program) + ", by the program's clock"}, {Value: assets.ClockPhone, Label: r.F.Stamp(phone) + ", by the phone's clock"}}).Must())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		clock := oneOf(e, "clock", "say which time is right", assets.ClockProgram, assets.ClockPhone)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		at := program
		if clock == assets.ClockPhone {
			at = phone
		}
		err := s.RoundBook.SetEntryClock(r.Context(), r.Scope, r.act("say when a finding was made", ""), file.Entry, clock, at, assets.DayOf(r.F.Local(at)))
		return r.At("rounds"), "Found " + r.F.Stamp(at) + ": kept.", err
	})
}

func (s *Site) entryAsked(r *Request) (RoundEntryFile, error) {
	id, err := r.ID("entry")
	if err != nil {
		return RoundEntryFile{}, err
	}
	return s.RoundBook.RoundEntry(r.Context(), r.Scope, r.PlantID(), id)
}

func (r *Request) entryFacts(f RoundEntryFile) []fact {
	facts := append(r.findingFacts(f.Finding), fact{"By the phone's clock", r.F.Stamp(f.Entry.DeviceAt)}, fact{"Arrived", r.F.Stamp(f.Entry.ArrivedAt)},
		fact{"Phone's clock when it was sent", offsetWords(f.Entry.SentOffsetUS)})
	if f.Entry.OffsetUS != nil {
		facts = append(facts, fact{"Phone's clock at the last contact before", offsetWords(*f.Entry.OffsetUS)})
	}
	if f.Entry.CalledWho != "" && f.Entry.CalledAt != nil {
		facts = append(facts, fact{"Called", f.Entry.CalledWho + ", " + r.F.Stamp(*f.Entry.CalledAt) + " by the phone's clock"})
	}
	return facts
}

func offsetWords(us int64) string {
	d := (time.Duration(us) * time.Microsecond).Round(time.Second)
	switch {
	case d == 0:
		return "with the program's"
	case d < 0:
		return d.Abs().String() + " behind"
	}
	return d.String() + " ahead"
}

// answerGrave answers: somebody found a grade 4 on a round; who has taken it on?
func (s *Site) answerGrave(r *Request) error {
	file, err := s.entryAsked(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "I have taken it on", Leave: r.At(), Facts: r.entryFacts(file), FactsOf: "The finding"}
		p.Sheet, p.Say = "Grade 4 on a round", "Take on the finding of "+r.F.Stamp(file.Finding.FoundAt)
		p.Says = []string{"You answer as " + r.Who.Person.Name + ": you have told those who must know by the site's rules. Whether the conveyor may run is decided there, not here."}
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		err := s.RoundBook.AnswerEntry(r.Context(), r.Scope, r.act("take on a grade 4 of a round", ""), file.Entry)
		return r.At(), "Taken on by " + r.Who.Person.Name + ".", err
	})
}

// endPhone ends a phone of whoever asks: it wipes what it keeps at its next contact.
func (s *Site) endPhone(r *Request) error {
	err := s.RoundBook.EndPhone(r.Context(), r.act("end a phone", ""), numberOf(strings.TrimSpace(r.C.PostForm("phone"))))
	if errors.Is(err, assets.ErrNotFound) {
		return r.Done(r.At("rounds"), "There is no such phone of yours; nothing was ended.")
	}
	if err != nil {
		return err
	}
	return r.Done(r.At("rounds"), "The phone is ended. What it keeps unsent is wiped when it is heard of next.")
}

// endPhoneSeen ends a phone of somebody else that findings of the plant came from: it was lost, or its person has gone.
func (s *Site) endPhoneSeen(r *Request) error {
	err := s.RoundBook.EndPhoneSeen(r.Context(), r.Scope, r.act("end a phone of somebody else", ""), r.PlantID(), numberOf(strings.TrimSpace(r.C.PostForm("phone"))))
	if errors.Is(err, assets.ErrNotFound) {
		return r.Done(r.At("rounds"), "No finding of this plant came from such a phone; nothing was ended.")
	}
	if err != nil {
		return err
	}
	return r.Done(r.At("rounds"), "The phone is ended. What it keeps unsent is wiped when it is heard of next.")
}

// roundRoutes are the addresses of rounds.
func roundRoutes() []Route {
	var out []Route
	add := func(may people.Deed, path string, do func(*Site, *Request) error, methods ...string) {
		for _, m := range methods {
			out = append(out, Route{Method: m, Path: "/plants/:plant/" + path, May: may, Under: "rounds", Do: do})
		}
	}
	add(people.Read, "rounds", (*Site).rounds, get)
	add(people.PlanOrders, "rounds/new", (*Site).editRound, get, post)
	add(people.Read, "rounds/kinds", (*Site).kindsOfFinding, get)
	add(people.EditCatalogues, "rounds/kinds/:category", (*Site).editKind, get, post)
	add(people.PlanOrders, "rounds/:round/edit", (*Site).editRound, get, post)
	add(people.Read, "rounds/:round", (*Site).walk, get)
	add(people.Read, "rounds/:round/points", (*Site).walkPoints, get)
	add(people.DoJob, "rounds/:round/done/:order", (*Site).walkedInspection, get, post)
	add(people.RecordFinding, "rounds/:round/entries", (*Site).takeEntry, post)
	out[len(out)-1].Raw = true
	add(people.RecordFinding, "rounds/clock/:entry", (*Site).entryClock, get, post)
	add(people.RecordFinding, "rounds/answer/:entry", (*Site).answerGrave, get, post)
	add(people.RecordFinding, "rounds/phones", (*Site).endPhone, post)
	add(people.KeepCrew, "rounds/phones/others", (*Site).endPhoneSeen, post)
	return out
}
