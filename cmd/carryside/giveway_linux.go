package main

import (
	"os"
	"runtime"
	"strconv"
	"syscall"
)

// giveWay lets the server have the processor first: a copy may take its time. Linux keeps the priority by thread; those
// started later take over that of the one that starts them. Where the system refuses, the copy is only in others' way.
func giveWay() {
	runtime.GOMAXPROCS(1) // the other processors are the server's
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return
	}
	for _, t := range threads {
		if id, err := strconv.Atoi(t.Name()); err == nil {
			_ = syscall.Setpriority(syscall.PRIO_PROCESS, id, 19)
		}
	}
}
