// Package tokens holds the statements of the machine interface's tokens and of its idempotency keys. A token is a
// random word of which only the SHA-256 is kept; what it may is a word, whose it is a person, and a person's
// grants say what it reaches.
package tokens
