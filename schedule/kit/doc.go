// Package kit is the wear of presses, cutters and templates and when their instruments are due: counters against limits,
// the jobs a part still lasts for, calibration dates, and the usual order of checks at a cutter that no longer cuts through.
// It reads no clock and keeps nothing.
package kit
