// Package clocks holds the statements of hour meters, their readings, the readings held for a person's
// decision, and planned running.
//
// A reading keeps what the meter showed; the stretch of meter in force adds the offset that makes it running
// hours. What becomes of a reading is decided by schedule/clock; this package fetches the neighbours it asks
// about and keeps the answer. A held reading is never used and never dropped.
package clocks
