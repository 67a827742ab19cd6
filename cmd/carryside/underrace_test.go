//go:build race

package main

// grants are how far a role reaches in the tests. Under the race detector, which is many times slower and looks for something else,
// one of the three is walked; every run without it walks all.
var grants = []string{"plant"}

// walkEvery is how many addresses one stands for: under the race detector every twenty-fourth is walked.
const walkEvery = 24
