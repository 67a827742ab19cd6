package plan

// Bounds gives the three bounds of a case by themselves: the simplest, that of the tables, and the Lagrangian one after so much work.
func Bounds(c *Case, work int) (trivial, tables, lagrangian int) {
	p := newProblem(c)
	nodes := never
	b := &tabler{p: p, halt: func() bool { return false }, nodes: &nodes}
	if list, ok := b.tables(); ok {
		tables = rootBound(list)
	}
	d := newDual(p, greedy(p).cost, func() bool { return false })
	d.advance(work)
	return trivialBound(p), tables, d.bound()
}

// Shares gives for each way to deal out scarce stock the jobs that go without.
func Shares(c *Case) [][]int { return newProblem(c).shares() }

// OptimumLike proves the cheapest plan of a changed case from nothing and with what the tables of the case itself tell; -1 where it cannot.
func OptimumLike(c *Case, changes []Change) (alone, like int) {
	on := func() bool { return false }
	nodes := replanNodes
	own := tabulate(newProblem(c), nil, &nodes, on)
	cost := func(t *tables) int {
		found, _, a := optimum(newProblem(c.With(changes)), t, mustCost, on)
		if a != possible {
			return -1
		}
		return found
	}
	return cost(nil), cost(own)
}
