// Package pressing keeps recipes with their editions, and the press records of splices: each with the edition it was judged by,
// its figures and, where one is outside, the reason and the early inspection it raised.
package pressing
