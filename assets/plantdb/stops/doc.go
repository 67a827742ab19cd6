// Package stops holds the statements of stop windows: one by one, as they come again, with the plant's answer, from a
// calendar file; and of the groups of conveyors that are isolated together.
//
// A stop of a recurring one has no row until something is said of it or work is placed in it: its number is negative
// (schedule/window) and every statement here takes it like any other.
package stops
