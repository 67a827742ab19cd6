package reports

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"time"
)

// WriteJSON writes the report as one JSON object: what it is, its columns, its rows as objects in the very
// bytes the digest is taken over, how many there are and their digest.
func (r *Report) WriteJSON(ctx context.Context, out io.Writer) (Proof, error) {
	w := bufio.NewWriter(out)
	head, err := json.Marshal(r.head())
	if err != nil {
		return Proof{}, fmt.Errorf("write JSON: %w", err)
	}
	w.Write(head[:len(head)-1])
	w.WriteString(`,"rows":[`)
	lines, first := newDigest(r.Columns), true
	proof, err := r.each(ctx, func(row []Cell) error {
		if !first {
			w.WriteByte(',')
		}
		first = false
		w.WriteByte('\n')
		_, err := w.Write(lines.add(row))
		return err
	})
	if err != nil {
		return Proof{}, err
	}
	tail, err := json.Marshal(jsonTail{Since: r.learnedJSON(), Count: proof.Rows, Tally: r.Tally, Basis: r.Basis, Digest: proof.Digest})
	if err != nil {
		return Proof{}, fmt.Errorf("write JSON: %w", err)
	}
	w.WriteString("\n],")
	w.Write(tail[1:])
	w.WriteByte('\n')
	if err := w.Flush(); err != nil {
		return Proof{}, fmt.Errorf("write JSON: %w", err)
	}
	return proof, nil
}

type jsonHead struct {
	Report   string       `json:"report"`
	Title    string       `json:"title"`
	Question string       `json:"question"`
	AsOf     string       `json:"as_of"` // YYYY-MM-DD, or empty for the moment of building
	Built    time.Time    `json:"built_at"`
	By       string       `json:"generated_by"`
	Scope    string       `json:"scope"`
	Notes    []string     `json:"notes"`
	Columns  []jsonColumn `json:"columns"`
}

type jsonColumn struct {
	Key     string `json:"key"`
	Heading string `json:"heading"`
	Unit    string `json:"unit,omitempty"`
	Kind    Kind   `json:"kind"`
	Meaning string `json:"meaning"`
}

type jsonTail struct {
	Since  *jsonSince `json:"corrections_since,omitempty"` // only where told
	Count  int        `json:"count"`
	Tally  []Count    `json:"tally"` // rows by what sums the report up
	Basis  []Basis    `json:"basis"` // known once the rows are read
	Digest string     `json:"digest"`
}

func (r *Report) head() jsonHead {
	h := jsonHead{Report: r.Slug, Title: r.Title, Question: r.Question, AsOf: string(r.AsOf.Day), Built: r.AsOf.Built, By: r.madeBy(), Scope: r.Scope, Notes: r.Notes}
	for _, c := range r.Columns {
		h.Columns = append(h.Columns, jsonColumn{c.Key, c.Heading, c.Unit, c.Kind, c.Meaning})
	}
	return h
}

// jsonSince is what was learned since the report's known-at.
type jsonSince struct {
	Columns []jsonColumn      `json:"columns"`
	Rows    []json.RawMessage `json:"rows"`
}

func (r *Report) learnedJSON() *jsonSince {
	if r.Learned == nil {
		return nil
	}
	out := &jsonSince{Rows: []json.RawMessage{}}
	for _, c := range r.Learned.Columns {
		out.Columns = append(out.Columns, jsonColumn{Key: c.Key, Heading: c.Heading, Unit: c.Unit, Kind: c.Kind, Meaning: c.Meaning})
	}
	lines := newDigest(r.Learned.Columns)
	for _, row := range r.Learned.Rows {
		out.Rows = append(out.Rows, slices.Clone(lines.add(row)))
	}
	return out
}
