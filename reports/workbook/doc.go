// Package workbook reads and writes spreadsheets: styled sheets streamed row by row on the one side, a
// plant's own list opened with its limits on the other. It is the only package that imports excelize and
// knows nothing of belts: what a report or a list means stands in reports and assets/intake.
package workbook
