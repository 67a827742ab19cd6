//go:build !browser

package main

import (
	"context"
	"fmt"
)

// runShots says how to get the pictures: the browser driver is compiled only where it is asked for.
func runShots(context.Context, environment, []string) error {
	return fmt.Errorf("%w: pictures need the browser driver: go run -tags browser ./cmd/dev shots --out DIR", errUsage)
}
