// Package officetest opens our workbooks in LibreOffice, as the plant office would: converted
// without a screen the cells must be ours, and opened on a screen no dialog may ask to repair them.
//
// Everything but this sentence is behind the build tag office, so that a plain go test needs Go alone:
//
//	go test -tags office ./reports/officetest
//
// CARRYSIDE_TEST_SOFFICE names the office program; Xvfb and xdotool must be installed. The tests
// fail where one is missing. The package must not know how a workbook is written.
package officetest
