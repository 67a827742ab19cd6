package reports

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Basis is one thing a report rests on, in words: a chain's journal position, the clock, the zone data.
type Basis struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// ChainRead is how far a chain of the journal reached that a report was read from.
type ChainRead struct {
	Name  string `json:"name"`  // "Journal of Skarrow Holdings"
	Chain int64  `json:"chain"` // its number
	Entry int64  `json:"entry"` // its newest entry that was read; 0: none yet
	Hash  string `json:"hash"`  // of that entry; "" with none
}

// Words is the place as verify takes it for a checkpoint.
func (c ChainRead) Words() string {
	if c.Entry == 0 {
		return "no entry yet"
	}
	return fmt.Sprintf("chain %d entry %d %s", c.Chain, c.Entry, c.Hash)
}

// rests notes the chains that rows were read from, each once.
func (r *Report) rests(chains []ChainRead) {
	for _, c := range chains {
		if !slices.Contains(r.Chains, c) {
			r.Chains = append(r.Chains, c)
			r.Basis = append(r.Basis, Basis{c.Name, c.Words()})
		}
	}
}

// basis is what a report rests on before its rows are read.
func (in Inputs) basis(zones []*time.Location) []Basis {
	b := []Basis{
		{"Known", in.Known.Words()},
		{"Running hours", "the line through the accepted readings; after the last one, projected"},
		{"Clock", in.Built.UTC().Format(time.RFC3339Nano)},
	}
	if in.Right != "" {
		b = append(b, Basis{"Read by right", in.Right})
	}
	if in.Version != "" {
		b = append(b, Basis{"Program", "Carryside " + in.Version})
	}
	return append(b, Basis{"Time zone data", zoneData(zones)})
}

// zones are those that days and the moment of building are told in, each once, by name.
func (in Inputs) zones(plants []PlantName) []*time.Location {
	zones := []*time.Location{in.zone(plants)}
	for _, p := range plants {
		if p.Zone != nil {
			zones = append(zones, p.Zone)
		}
	}
	slices.SortFunc(zones, func(a, b *time.Location) int { return strings.Compare(a.String(), b.String()) })
	return slices.CompactFunc(zones, func(a, b *time.Location) bool { return a.String() == b.String() })
}

// zoneData names the version of the zone data in use by what it says: a digest of every change of the zones' clocks.
// Where the data come from (the system, or the program itself) and what they call themselves does not matter.
func zoneData(zones []*time.Location) string {
	sum := sha256.New()
	names := make([]string, len(zones))
	for i, z := range zones {
		names[i] = z.String()
		writeChanges(sum, z)
	}
	const most = 3
	words := strings.Join(names, ", ")
	if len(names) > most {
		words = fmt.Sprintf("%s and %d more zones", strings.Join(names[:most], ", "), len(names)-most)
	}
	return fmt.Sprintf("%s: SHA-256 of their clock changes 1970 to 2099 begins %s", words, hex.EncodeToString(sum.Sum(nil))[:16])
}

// writeChanges writes the stretches of one offset of a zone, 1970 to 2099, a line each.
func writeChanges(out interface{ Write([]byte) (int, error) }, z *time.Location) {
	at := time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC).In(z)
	fmt.Fprintf(out, "%s\n", z)
	for at.Year() < 2100 {
		name, offset := at.Zone()
		fmt.Fprintf(out, "%d %d %s\n", at.Unix(), offset, name)
		_, end := at.ZoneBounds()
		if end.IsZero() {
			return
		}
		if !end.After(at) { // at the turn of a year the library may give the instant itself as the end
			end = at.AddDate(0, 0, 1)
		}
		at = end
	}
}
