// Package stock is the storeroom's arithmetic: a ledger that always balances, lots that go out in the order in which they
// go out of date, what placed orders hold, when to order how much, and how rolls are cut with the least waste. It reads no
// clock and keeps nothing.
//
// Quantities are whole thousandths of an item's own unit, so that sums are exact.
package stock
