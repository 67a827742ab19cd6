// Package stores holds the statements of kit and stock: what crews bring back and what they use up.
//
// Kit stands in the chain of whoever owns it (the company's own for shared kit), stock in that of the plant where it
// lies; the depot is the owner's. Counters and lots are sums of lines that are added and never changed; what becomes of
// a posting is decided by schedule/stock and schedule/kit, this package fetches what they ask about and keeps the answer.
package stores
