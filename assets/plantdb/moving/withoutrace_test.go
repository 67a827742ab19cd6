//go:build !race

package moving_test

// lives is how often a program is started to be killed or left alone.
const lives = 12
