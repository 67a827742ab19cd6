// Package attached holds the statements of attachments: photos, traces and certificates kept with conveyors, splices,
// findings and orders. The row says what a file is, its contents stand in pieces of 1 MB; the journal protects each
// piece by its hash, so that `carryside verify` finds a changed, missing or added one.
package attached
