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
