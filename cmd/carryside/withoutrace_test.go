//go:build !race && !postgres

package main

// grants are how far a role reaches in the tests.
var grants = []string{"all", "customer", "plant"}

// walkEvery is how many addresses one stands for: all are walked.
const walkEvery = 1
