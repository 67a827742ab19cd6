package calc

import (
	"errors"
	"io/fs"
	"maps"
	"slices"
)

// Kind answers one case: it reads the fields it needs and returns the result in the shape of the case's expected value.
//
// An error with a Class method (a Refusal, or a refusal of the package that computes) is the answer to that case.
// Any other error, a MissingField above all, stops the whole run.
type Kind func(c *Case) (any, error)

// kinds is every kind of case that is built, by the name it has on the command line. A new family of kinds is a file
// with its own map, and that map's name here.
var kinds = merged(geometryKinds, unitKinds, clockKinds, calendarKinds, lifeKinds, workKinds)

// Answered is what is printed for one case: a result, or an error class with its sentence.
type Answered struct {
	ID     any    `json:"id"`
	Result any    `json:"result,omitempty"`
	Class  string `json:"error,omitempty"`
	Text   string `json:"text,omitempty"`
}

// Refusal is a case whose answer is an error: a class that programs compare and one sentence that a person reads.
type Refusal struct {
	Kind string // the class of error, such as bad_input
	Text string // one sentence saying what is wrong and what to do
}

// Error returns the sentence.
func (r *Refusal) Error() string { return r.Text }

// Class returns the class of error.
func (r *Refusal) Class() string { return r.Kind }

// classed is any refusal that names its own class.
type classed interface {
	error
	Class() string
}

// ErrUnknownKind is a kind that is not built.
var ErrUnknownKind = errors.New("unknown kind")

// Known reports whether cases of that kind can be answered.
func Known(kind string) bool { return kinds[kind] != nil }

// Names lists the kinds that can be answered, sorted.
func Names() []string { return slices.Sorted(maps.Keys(kinds)) }

// Beside is what stands beside a document: the files its cases name, and the orders behind its figures.
type Beside struct {
	Files  fs.FS  // the folder of the case file; nil when there is none
	Orders []byte // the CSV of orders; nil when none was given
}

// TakesOrders reports whether cases of that kind rest on a file of orders.
func TakesOrders(kind string) bool { return kind == keyFiguresKind }

// Answer answers every case of a document in its order.
//
// ErrUnknownKind for a kind that is not built; MissingField, naming case and field, for a case that is not whole.
// Nothing is answered unless every case is whole.
func Answer(kind string, document []byte, beside Beside) ([]Answered, error) {
	answer := kinds[kind]
	if answer == nil {
		return nil, ErrUnknownKind
	}
	divide := split
	if kind == keyFiguresKind {
		divide = whole
	}
	cases, err := divide(document)
	if err != nil {
		return nil, err
	}
	answers := make([]Answered, 0, len(cases))
	for _, c := range cases {
		c.beside = beside
		a, err := answerOne(answer, c)
		if err != nil {
			return nil, err
		}
		answers = append(answers, a)
	}
	return answers, nil
}

// answerOne answers one case. A field that was asked for and is not there outweighs whatever the kind made of its absence.
func answerOne(answer Kind, c *Case) (Answered, error) {
	result, err := answer(c)
	if missing := c.Err(); missing != nil {
		return Answered{}, missing
	}
	var refused classed
	switch {
	case err == nil:
		return Answered{ID: c.ID, Result: result}, nil
	case errors.As(err, &refused):
		return Answered{ID: c.ID, Class: refused.Class(), Text: refused.Error()}, nil
	default:
		return Answered{}, err
	}
}

// merged joins the kinds of several files into one table.
func merged(families ...map[string]Kind) map[string]Kind {
	all := map[string]Kind{}
	for _, family := range families {
		maps.Copy(all, family)
	}
	return all
}
