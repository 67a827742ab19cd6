//go:build !race

package main

// grants are how far a role reaches in the tests.
var grants = []string{"all", "customer", "plant"}
