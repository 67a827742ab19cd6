package plan

// trivialBound is the sum over jobs of the smaller of leaving it out and its cheapest window, with the cost of changing the published
// plan; a locked job counts with the windows its lock leaves it.
func trivialBound(p *problem) int {
	sum := 0
	for i := range p.jobs {
		t := &p.jobs[i]
		least := t.out
		if len(t.options) > 0 {
			least = min(least, t.options[0].cost)
		}
		sum += least
	}
	return sum
}
