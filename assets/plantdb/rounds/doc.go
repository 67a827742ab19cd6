// Package rounds keeps rounds, what came in from phones on them, and the phones: each entry once however often and from
// wherever it is sent, with the clock its time was taken from.
package rounds
