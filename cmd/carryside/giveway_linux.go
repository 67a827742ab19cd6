package main

import (
	"os"
	"strconv"
	"syscall"
)

// giveWay lets the server have the processor first: a copy may take its time. Linux keeps the priority by thread; those
// started later take over that of the one that starts them. Where the system refuses, the copy is only in others' way.
func giveWay() {
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return
	}
	for _, t := range threads {
		if id, err := strconv.Atoi(t.Name()); err == nil {
			_ = syscall.Setpriority(syscall.PRIO_PROCESS, id, 10)
		}
	}
}
