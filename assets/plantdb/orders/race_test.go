package orders_test

import (
	"fmt"
	"sync"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// TestTwoServersRaiseTheSameWork lets two handles on one database raise the same proposals at the same time,
// each in another order.
func TestTwoServersRaiseTheSameWork(t *testing.T) {
	address := plantdbtest.Address(t)
	site := plantdbtest.PlantIn(t, plantdbtest.Again(t, address), "Hollin Quarry")
	servers := []*plantdb.DB{site.DB, plantdbtest.Again(t, address)}
	const rounds, cycles = 6, 5
	var wait sync.WaitGroup
	raised := make([]orders.Raised, len(servers))
	for server, db := range servers {
		wait.Add(1)
		go func() {
			defer wait.Done()
			for round := range rounds {
				err := db.Change(ctx, site.Act(plantdbtest.Noon), func(c *plantdb.Change) error {
					n, err := orders.Raise(c, site.Plant.ID, proposed(site, round, cycles, server == 1), nil, 0)
					raised[server].Orders += n.Orders
					raised[server].Joined += n.Joined
					return err
				})
				if err != nil {
					t.Errorf("server %d: %v", server, err)
				}
			}
		}()
	}
	wait.Wait()
	rows, err := orders.Occurrences(ctx, site.DB, site.Scope, site.Plant.ID, 0)
	if err != nil || len(rows) != rounds*cycles {
		t.Errorf("%d occurrences, %v; want %d, each once", len(rows), err, rounds*cycles)
	}
	open, _, err := orders.List(ctx, site.DB, site.Scope, orders.Filter{PlantID: site.Plant.ID, Open: true})
	if err != nil || len(open) != 1 || open[0].Number != 1 {
		t.Errorf("orders %+v, %v; want the one that all join", open, err)
	}
	both := raised[0].Orders + raised[1].Orders
	if joined := raised[0].Joined + raised[1].Joined; both != 1 || joined != rounds*cycles-1 {
		t.Errorf("the servers say %d orders and %d joined, want 1 and %d", both, joined, rounds*cycles-1)
	}
}

// proposed are the cycles of one round on the site's splice, backwards for the other server.
func proposed(site *plantdbtest.Site, round, cycles int, backwards bool) []rules.Proposal {
	out := make([]rules.Proposal, cycles)
	for i := range out {
		k := i
		if backwards {
			k = cycles - 1 - i
		}
		p := proposal(site.Splice, workorder.KindResplice, fmt.Sprintf("%d.%d", round, k), assets.ClassB)
		p.PlantID = site.Plant.ID
		out[i] = p
	}
	return out
}
