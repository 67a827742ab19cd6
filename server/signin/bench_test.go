package signin_test

import (
	"testing"

	"carryside/server/signin"
)

// BenchmarkCommon is what judging a password costs beside the hash of it.
func BenchmarkCommon(b *testing.B) {
	for range b.N {
		if signin.Common(secret, "I. Vanterel") {
			b.Fatal("refused")
		}
	}
}
