package web

import (
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/people"
)

// kindsPage answers: which kinds of finding are there, and what does each grade of them mean?
type kindsPage struct {
	Page
	Rows []kindRow
}

type kindRow struct {
	Name, To, Quantity, Whose string
	Grades                    []string
	LeftOut                   bool
}

// kinds are the kinds of finding, read once for each request.
func (r *Request) kinds() (assets.FindingKinds, error) {
	if r.findingKinds == nil {
		all, err := r.site.RoundBook.FindingKinds(r.Context())
		if err != nil {
			return nil, err
		}
		r.findingKinds = all
	}
	return r.findingKinds, nil
}

// graded says a grade of a finding with what it means: "3, carcass seen".
func (r *Request) graded(fd assets.Finding) string {
	if fd.Grade == nil {
		return "not graded"
	}
	words := assets.FindingKind{}.Words(*fd.Grade)
	if all, err := r.kinds(); err == nil { // the words that hold for all stand in for those that cannot be read
		words = all.Of(fd.Category).Words(*fd.Grade)
	}
	return joinWords(plainInt(int64(*fd.Grade)), words)
}

// gradesOf are the grades to choose from, none among them.
func gradesOf(words func(int) string) []Option {
	out := []Option{{Label: "not graded"}}
	for i := range assets.GradeWords {
		out = append(out, Option{Value: plainInt(int64(i)), Label: fmt.Sprintf("%d: %s", i, words(i))})
	}
	return out
}

func (s *Site) kindsOfFinding(r *Request) error {
	all, err := r.kinds()
	if err != nil {
		return err
	}
	own := 0
	p := &kindsPage{}
	p.Sheet = "Kinds of finding"
	for _, k := range all {
		row := kindRow{Name: Capital(k.Name), Quantity: pick(k.Quantity == "", "nothing", k.Quantity), Whose: "usual, class D", LeftOut: k.LeftOut}
		if k.ID != 0 {
			own++
			row.Whose = "the company's, since " + r.F.Date(k.ValidFrom)
		}
		if r.May(people.EditCatalogues) {
			row.To = r.At("rounds", "kinds", kindWord(k))
		}
		for g := range assets.GradeWords {
			row.Grades = append(row.Grades, k.Words(g))
		}
		p.Rows = append(p.Rows, row)
	}
	p.Say = pick(own == 0, "All kinds of finding have the usual grades of the trade", Capital(Count(own, "kind of finding has", "kinds of finding have"))+" the company's own grades; the others have the usual ones")
	p.Sub = "Grade 3 and 4 end in an order or in a signed refusal; which order, and by when, the rules say. Usual words are common practice: the maker's instruction, site rules and qualified people come first."
	r.Offer(&p.Page, "Which order a grade raises", "rules", false)
	if r.May(people.EditCatalogues) {
		p.Do = append(p.Do, Action{Word: "Add a kind", To: r.At("rounds", "kinds", newKind), Main: true})
	}
	return r.Show("kinds", p)
}

// newKind stands in an address for a kind that is not there yet.
const newKind = "new-kind"

// kindWord is a kind in an address: opening-along-the-seam.
func kindWord(k assets.FindingKind) string {
	return strings.Join(strings.FieldsFunc(k.NameKey, func(c rune) bool { return c == ' ' || c == '/' || c == '?' || c == '#' || c == '%' }), "-")
}

// editKind answers: what does each grade of this kind mean from now on?
func (s *Site) editKind(r *Request) error {
	all, err := r.kinds()
	if err != nil {
		return err
	}
	k := assets.FindingKind{}
	if word := r.C.Param("category"); word != newKind {
		i := slices.IndexFunc(all, func(k assets.FindingKind) bool { return kindWord(k) == word })
		if i < 0 {
			return assets.ErrNotFound
		}
		k = all[i]
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the kind", Leave: r.At("rounds", "kinds")}
		p.Sheet, p.Say = "Kind of finding", pick(k.Name == "", "Add a kind of finding", "Say what each grade of "+k.Name+" means")
		p.Says = []string{"The words stand on the phone beside the grade. Grade 4 fills the screen and asks to call; grade 3 and 4 end in an order or in a signed refusal."}
		f.version(k.Version)
		if k.Name == "" {
			p.section("", f.Text("name", "Kind", "").Must().Hinted("What is seen, in a few words"))
		}
		var grades []*Field
		for g := range assets.GradeWords {
			grades = append(grades, f.Text(fmt.Sprintf("grade_%d", g), "Grade "+plainInt(int64(g)), k.Words(g)).Must().OverBoth())
		}
		p.section("What each grade means", grades...)
		options := []Option{{Label: "nothing"}}
		for _, m := range measurements {
			options = append(options, Option{Value: m.Quantity, Label: m.Quantity})
		}
		p.section("", f.Select("measured", "Usually measured at it", k.Quantity, options))
		if k.Name != "" && k.NameKey != assets.OtherKind {
			p.section("", f.Tick("left_out", "Do not offer this kind any more", k.LeftOut))
		}
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := k
		next.RowID, next.GradeWords = e.rowID(), nil
		if k.Name == "" {
			next.Name = e.must("name", "the kind's name")
		}
		for g := range assets.GradeWords {
			next.GradeWords = append(next.GradeWords, e.must(fmt.Sprintf("grade_%d", g), "what this grade means"))
		}
		if next.Quantity = e.text("measured"); next.Quantity != "" {
			if _, known := measurementOf(next.Quantity); !known {
				e.bad.Add("measured", "choose what is measured from the list")
			}
		}
		next.LeftOut = e.f.Ticked("left_out")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.RoundBook.SaveFindingKind(r.Context(), r.act("say what the grades of "+next.Name+" mean", ""), &next)
		return r.At("rounds", "kinds"), Capital(next.Name) + " kept. Phones have it when they open a round with a network.", err
	})
}
