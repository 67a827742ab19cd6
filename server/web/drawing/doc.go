// Package drawing makes the pictures of the screens as SVG: the belt as the loop it is with its splices on it,
// the seam ramp, histories, strips and bars. It takes plain values and returns template.HTML; what is typed by
// people is escaped here, colours and line widths are classes of the style sheet, so that light, dark and print
// need no second drawing. It knows no database, no clock and no address but those it is handed.
package drawing
