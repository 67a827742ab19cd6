package web

import (
	"context"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/schedule/rules"
)

// RuleBook is what the pages of rules need.
type RuleBook interface {
	// RulesOf returns the rules that apply to a plant, its own, its customer's and the company's, by number;
	// switched-off ones too.
	RulesOf(ctx context.Context, scope assets.Scope, plantID int64) ([]rules.Rule, error)
	// RuleOf returns one of them. assets.ErrNotFound otherwise.
	RuleOf(ctx context.Context, scope assets.Scope, plantID, id int64) (rules.Rule, error)
	// RaisedSince counts what each rule raised at a plant since an instant.
	RaisedSince(ctx context.Context, scope assets.Scope, plantID int64, since time.Time) (map[int64]int, error)
	// Outlook returns the plant prepared for previews; splices that ended in the last year are among its inputs.
	Outlook(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*rules.Outlook, error)
	// SaveRule evaluates the plant once by the rule as it stood, then keeps it: new (ID 0) or an edit of what was
	// read. assets.ErrConflict when somebody saved another since.
	SaveRule(ctx context.Context, scope assets.Scope, act Act, plantID int64, r *rules.Rule) error
}

// rulesPage answers: which rules raise orders here, how often do they, and what do they rest on?
type rulesPage struct {
	Page
	Rules []ruleLine
}

type ruleLine struct {
	Name, To, For, When, Raises string
	Reminder, Off               bool
	Last, Next, Basis, Class    string
	Reach                       string
}

func (s *Site) rules(r *Request) error {
	list, err := s.RuleBook.RulesOf(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	raised, err := s.RuleBook.RaisedSince(r.Context(), r.Scope, r.PlantID(), r.Now.AddDate(-1, 0, 0))
	if err != nil {
		return err
	}
	look, err := s.RuleBook.Outlook(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	p := &rulesPage{}
	p.Sheet, p.Sub = "Rules", "A rule of thumb (class D) raises a reminder; a person makes it an order. Nothing is raised twice."
	r.Offer(&p.Page, "New rule", "rules/new", true)
	orders, reminders := 0, 0
	for _, rule := range list {
		next := 0
		if !rule.Off {
			next = len(look.Propose(rule, r.Now, r.Now.AddDate(1, 0, 0)))
		}
		if rule.Class.RaisesOrders() {
			orders += next
		} else {
			reminders += next
		}
		p.Rules = append(p.Rules, r.ruleLine(rule, raised[rule.ID], next))
	}
	p.Say = rulesSay(len(list), orders, reminders)
	return r.Show("rules", p)
}

// rulesSay is the headline of the list of rules.
func rulesSay(n, orders, reminders int) string {
	if n == 0 {
		return "No rule looks at this plant, so nothing is raised by itself"
	}
	say := Capital(Figure(n, "rule", "rules")) + pick(n == 1, " raises ", " raise ") + "up to " + Figure(orders, "order", "orders")
	if reminders > 0 {
		say += " and " + Figure(reminders, "reminder", "reminders")
	}
	return say + " in the next year"
}

func (r *Request) ruleLine(rule rules.Rule, last, next int) ruleLine {
	l := ruleLine{Name: rule.Name, For: rule.Scope.Words(), When: rule.Trigger.Words(), Raises: string(rule.Template.Kind), Reminder: !rule.Class.RaisesOrders(),
		Off: rule.Off, Last: Int(int64(last)), Next: Int(int64(next)), Class: string(rule.Class), Basis: rule.Source, Reach: reachWords(rule)}
	if r.May(people.EditRules) {
		l.To = r.At("rules", rule.ID)
	}
	return l
}

// reachWords says for which plants a rule is.
func reachWords(rule rules.Rule) string {
	switch {
	case rule.PlantID != 0:
		return "this plant"
	case rule.CustomerID != 0:
		return "this customer's plants"
	}
	return "every plant"
}

// mayReach tells whether whoever asks may change a rule that also looks at other plants: it takes a grant for
// all of them.
func (r *Request) mayReach(rule rules.Rule) bool {
	if rule.PlantID == r.PlantID() {
		return r.May(people.EditRules)
	}
	for _, g := range r.Who.Grants {
		wide := g.PlantID == 0 && (g.CustomerID == 0 || g.CustomerID == rule.CustomerID)
		if g.KnownTo == nil && wide && people.May(g.Role, people.EditRules) {
			return true
		}
	}
	return false
}

// raisedWords counts what a rule raises: orders, or reminders where it is a rule of thumb.
func raisedWords(n int, reminder bool) string {
	if reminder {
		return Figure(n, "reminder", "reminders")
	}
	return Figure(n, "order", "orders")
}

// moreOrLess compares what a rule raises as edited with what it raises as it stands.
func moreOrLess(stands, edited int) string {
	switch d := edited - stands; {
	case d > 0:
		return fmt.Sprintf("%s more", Int(int64(d)))
	case d < 0:
		return fmt.Sprintf("%s fewer", Int(int64(-d)))
	}
	return "the same"
}
