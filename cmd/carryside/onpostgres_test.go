//go:build !race && postgres

package main

// grants are how far a role reaches in the tests.
var grants = []string{"all", "customer", "plant"}

// walkEvery is how many addresses one stands for: on PostgreSQL, whose every question crosses a socket, every twelfth is walked. The walls
// stand above the engine; on SQLite all are.
const walkEvery = 12
