package drawing

import (
	"fmt"
	"html/template"
	"strings"
)

// quiet is the empty border that readers of QR codes need, in squares (ISO/IEC 18004, section 6.3.8).
const quiet = 4

// Scan draws a QR code: dark squares on a light ground in either theme, since many readers take it no other way.
func Scan(squares [][]bool, says string) template.HTML {
	size := len(squares) + 2*quiet
	var dark strings.Builder
	for y, row := range squares {
		for x, on := range row {
			if on {
				fmt.Fprintf(&dark, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	return template.HTML(fmt.Sprintf(`<svg class="scan" viewBox="0 0 %d %d" width="232" height="232" role="img" aria-label="%s" shape-rendering="crispEdges"><rect width="%d" height="%d" fill="#fff"/><path fill="#000" d="%s"/></svg>`,
		size, size, template.HTMLEscapeString(says), size, size, dark.String()))
}
