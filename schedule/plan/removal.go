package plan

// most is how many jobs a step takes out at most.
const most = 24

// choose fills l.jobs with what this step takes out and puts back.
func (l *lane) choose() {
	l.jobs = l.jobs[:0]
	seed := l.rng.IntN(len(l.p.jobs))
	switch l.rng.IntN(10) {
	case 0, 1:
		l.groups(seed)
	case 2, 3, 4:
		l.windowOf(seed)
	case 5, 6:
		l.related(seed)
	case 7:
		l.personOf(seed)
	case 8:
		l.leftOut()
	default:
		l.scattered()
	}
	l.add(seed)
	l.someLeftOut(l.p.jobs[seed].site)
}

// favoured chooses a window to be judged as if its set-ups and call-outs were paid for, and one to be kept out of; both mostly none.
func (l *lane) favoured() (favour, shut int) {
	favour, shut = -1, -1
	if len(l.was) == 0 {
		return favour, shut
	}
	if l.rng.IntN(3) == 0 {
		options := l.p.jobs[l.jobs[l.rng.IntN(len(l.jobs))]].options
		favour = options[l.rng.IntN(len(options))].window
	}
	if l.rng.IntN(3) == 0 {
		i := l.rng.IntN(len(l.was))
		shut = l.p.jobs[l.was[i]].options[l.saved[i].option].window
		if shut == favour || l.p.jobs[l.was[i]].locked != nil {
			shut = -1
		}
	}
	return favour, shut
}

// groups takes the isolation group of the seed, and perhaps another of the site.
func (l *lane) groups(seed int) {
	for range 1 + l.rng.IntN(3) {
		t := &l.p.jobs[seed]
		if t.group < 0 {
			l.add(seed)
		} else {
			for _, j := range l.p.ofGroup[t.group] {
				if len(l.jobs) < most {
					l.add(j)
				}
			}
		}
		site := l.p.ofSite[t.site]
		seed = site[l.rng.IntN(len(site))]
	}
}

// windowOf takes what stands in a window of the seed, and perhaps in a second one.
func (l *lane) windowOf(seed int) {
	options := l.p.jobs[seed].options
	if len(options) == 0 {
		return
	}
	w := options[l.rng.IntN(len(options))].window
	if l.s.placed(seed) && l.rng.IntN(4) > 0 {
		w = l.s.window(seed)
	}
	for range 1 + l.rng.IntN(2) {
		for _, j := range l.shuffled(l.p.ofWindow[w]) {
			if len(l.jobs) < most && l.s.placed(j) && l.s.window(j) == w {
				l.add(j)
			}
		}
		w = options[l.rng.IntN(len(options))].window
	}
}

// related takes placed jobs near the seed in time, wherever they are: those it could trade persons and tools with.
func (l *lane) related(seed int) {
	options := l.p.jobs[seed].options
	if len(options) == 0 {
		return
	}
	w := options[l.rng.IntN(len(options))].window
	size := 4 + l.rng.IntN(12)
	for _, n := range l.shuffled(l.p.near[w]) {
		for _, j := range l.p.ofWindow[n] {
			if len(l.jobs) >= size {
				return
			}
			if l.s.placed(j) && l.s.window(j) == n {
				l.add(j)
			}
		}
	}
}

// personOf takes a stretch of one person's or tool's work around the seed.
func (l *lane) personOf(seed int) {
	if !l.s.placed(seed) {
		return
	}
	mine := append(append([]int{}, l.s.at[seed].crew...), l.s.at[seed].tools...)
	if len(mine) == 0 {
		return
	}
	line := l.s.lines[mine[l.rng.IntN(len(mine))]]
	size := 3 + l.rng.IntN(6)
	for i := range line {
		if line[i].job == seed {
			for _, v := range line[max(0, i-size/2):min(len(line), i+size)] {
				l.add(v.job)
			}
		}
	}
}

// leftOut takes a job that is left out and what stands in its way in one of its windows.
func (l *lane) leftOut() {
	n := len(l.p.jobs)
	from := l.rng.IntN(n)
	for i := range n {
		j := (from + i) % n
		if l.s.placed(j) || len(l.p.jobs[j].options) == 0 {
			continue
		}
		l.add(j)
		for _, b := range l.p.jobs[j].before {
			l.add(b.job)
		}
		l.related(j)
		return
	}
	l.scattered()
}

// scattered takes jobs of one site at random.
func (l *lane) scattered() {
	site := l.p.ofSite[l.p.jobs[l.rng.IntN(len(l.p.jobs))].site]
	for range 3 + l.rng.IntN(10) {
		l.add(site[l.rng.IntN(len(site))])
	}
}

// someLeftOut lets a few jobs of the site that are left out look for a place as well.
func (l *lane) someLeftOut(site int) {
	list := l.p.ofSite[site]
	from, n := l.rng.IntN(len(list)), 0
	for i := range list {
		if j := list[(from+i)%len(list)]; !l.s.placed(j) {
			l.add(j)
			if n++; n == 4 {
				return
			}
		}
	}
}
