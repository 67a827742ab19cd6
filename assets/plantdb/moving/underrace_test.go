//go:build race

package moving_test

// lives is how often a program is started to be killed or left alone; under the race detector a start takes seconds.
const lives = 6
