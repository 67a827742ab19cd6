package main

import (
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"sync/atomic"
)

// room is how much memory of the heap a program may fill before its garbage is collected. What lives of one plant is
// small: collected each time it has doubled, as is usual, a report of four hundred plants is collected seventy times, and a
// fifth of a page's time goes into it. It is no limit: where more lives, garbage grows by least percent of that.
type room struct {
	heap  uint64 // bytes
	least int    // percent
}

var (
	exportRoom = room{40 << 20, 25} // the last megabytes of a sheet and the packed file live longest
	serveRoom  = room{96 << 20, 100}
)

// use holds to the room until end is called: after each collection the next one is set anew.
func (r room) use() (end func()) {
	usual := debug.SetGCPercent(r.percent(liveHeap()))
	ended := &atomic.Bool{}
	r.renew(ended)
	return func() {
		ended.Store(true)
		debug.SetGCPercent(usual)
	}
}

// renew waits for the next collection, which frees the mark, and the one after it.
func (r room) renew(ended *atomic.Bool) {
	type mark struct{ r *room }
	runtime.SetFinalizer(&mark{&r}, func(*mark) {
		if !ended.Load() {
			debug.SetGCPercent(r.percent(liveHeap()))
			r.renew(ended)
		}
	})
}

// percent is by how much the heap may grow over what lives until the next collection.
func (r room) percent(live uint64) int {
	if live == 0 || r.heap/live > 100 {
		return 1000
	}
	return min(1000, max(r.least, int(r.heap*100/live)-100))
}

// liveHeap is how much of the heap was in use at the last collection.
func liveHeap() uint64 {
	sample := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(sample)
	if sample[0].Value.Kind() != metrics.KindUint64 {
		return 0
	}
	return sample[0].Value.Uint64()
}
