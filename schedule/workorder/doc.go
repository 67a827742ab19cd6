// Package workorder is the work order: its kinds, its life from raised to signed or withdrawn, and what
// each step demands. It decides; it stores nothing and reads no clock.
//
// The life of an order. Steps stands beside this drawing and a test walks every pair of states, so that
// neither says what the other does not:
//
//	           accept            place             start            done            sign
//	(raised) ──────────► accepted ──────► placed ──────► started ──────► done ──────► signed
//	   │                    │    ◄──────  │  │ ▲            │
//	   │                    │   take out  │  └─┘ place      │
//	   │                    │             │   (moved)       │
//	   └────────────────────┴─────────────┴─────────────────┴──► withdrawn, with a reason
//
//	put off: the latest date moves, the state stays; raised to started
//	wait: the order waits for the work of another, the state stays; raised to placed
//
// Open is raised to started. An open order is joined by later occurrences of the same target and kind.
// Overdue is computed from the latest date, never kept.
//
// The time at which a step was so and the time at which it was entered are two facts: every step takes
// at (when it was so) and now (when it is entered), and its event keeps both.
//
//	placed, event, err := workorder.Place(order, planner, at, now, workorder.Placement{WindowID: 7, WindowDay: "2026-12-12", People: []int64{3}})
package workorder
