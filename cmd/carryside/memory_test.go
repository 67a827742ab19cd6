package main

import (
	"runtime"
	"runtime/debug"
	"testing"
	"time"
)

// The collector's goal is what lives times one and the percent; by hand: 16 MiB and 250 % are 56 MiB.
func TestGarbageFillsTheRoomAndNoMoreThanTheLeastWhereMoreLives(t *testing.T) {
	r := room{56 << 20, 40}
	for _, c := range []struct {
		liveMiB uint64
		want    int
	}{{0, 1000}, {1, 1000}, {16, 250}, {28, 100}, {40, 40}, {56, 40}, {4000, 40}} {
		if got := r.percent(c.liveMiB << 20); got != c.want {
			t.Errorf("%d MiB live: %d %%, want %d", c.liveMiB, got, c.want)
		}
	}
}

func TestTheRoomIsHeldToAfterEachCollection(t *testing.T) {
	before := debug.SetGCPercent(100)
	defer debug.SetGCPercent(before)
	r := room{64 << 20, 50}
	defer r.use()()
	held := make([]byte, 60<<20)
	held[0] = 1
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		runtime.GC()
		percent := debug.SetGCPercent(100)
		debug.SetGCPercent(percent)
		if percent == 50 {
			runtime.KeepAlive(held)
			return
		}
	}
	t.Error("with 60 of 64 MiB in use garbage may still grow by more than half")
}
