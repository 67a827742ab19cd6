// Package browsertest walks the built program in a real browser: each screen light and dark, on a
// desk and on a phone, and on paper. It asks what a fitter or an auditor would notice: does the
// page come up whole, does it fit, can it be read aloud, does a wrong entry keep what was typed.
//
// Everything but this sentence is behind the build tag browser, so that a plain go test needs Go alone:
//
//	go test -tags browser ./server/browsertest
//
// CARRYSIDE_TEST_CHROMIUM names the browser's program and CARRYSIDE_TEST_AXE the file axe.min.js
// of axe-core; the tests fail where one is missing. The package must not know how a screen is
// made: it sees the program from outside.
package browsertest
