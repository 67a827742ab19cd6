// Package worksheets keeps job sheets: templates that a lead edits, the sheet of an order with the steps it was opened with, and
// what was noted at each step, each once however often it is sent.
package worksheets
