package workbook

import (
	"errors"
	"sort"

	"carryside/assets/intake"
)

// maxCovered bounds the cells that merged areas fill, over all of a sheet's areas.
const maxCovered = 2_000_000

// merge carries the value of a merged area's first cell to all cells it covers, in rows and columns with content.
func (r *sheetReader) merge() error {
	rows := r.sheet.Rows
	width := int32(0)
	for c := range r.columns {
		width = max(width, c)
	}
	filled := 0
	added := map[int][]intake.Cell{}
	for _, m := range r.merges {
		at := sort.Search(len(rows), func(i int) bool { return rows[i].Number >= m[0] })
		if at == len(rows) || rows[at].Number != m[0] {
			continue
		}
		first, ok := cellAt(&rows[at], int32(m[1]))
		if !ok {
			continue
		}
		first.Covered = true
		for i := at; i < len(rows) && rows[i].Number <= m[2]; i++ {
			for col := int32(m[1]); col <= min(int32(m[3]), width); col++ {
				if i == at && col == int32(m[1]) {
					continue
				}
				if filled++; filled > maxCovered {
					return errors.New("has merged areas that cover too many cells; save the list without them")
				}
				if _, taken := cellAt(&rows[i], col); !taken {
					c := first
					c.Col = col
					added[i] = append(added[i], c)
				}
			}
		}
	}
	for i, cells := range added {
		all := append(rows[i].Cells, cells...)
		sort.SliceStable(all, func(a, b int) bool { return all[a].Col < all[b].Col })
		rows[i].Cells = all
	}
	return nil
}

// cellAt returns a row's cell of a column.
func cellAt(row *intake.Row, col int32) (intake.Cell, bool) {
	i := sort.Search(len(row.Cells), func(i int) bool { return row.Cells[i].Col >= col })
	if i < len(row.Cells) && row.Cells[i].Col == col {
		return row.Cells[i], true
	}
	return intake.Cell{}, false
}
