package life

import "math"

// envelope is the lower half of a symmetric matrix of which each row holds only the columns from its first to the diagonal; a
// Cholesky factor keeps that shape (George and Liu 1981, Computer Solution of Large Sparse Positive Definite Systems).
type envelope struct {
	first []int
	rows  [][]float64
}

// newEnvelope is a zero matrix with the first column of each row given.
func newEnvelope(first []int) *envelope {
	e := &envelope{first: first, rows: make([][]float64, len(first))}
	size := 0
	for j, f := range first {
		size += j - f + 1
	}
	all := make([]float64, size)
	for j, f := range first {
		e.rows[j], all = all[:j-f+1:j-f+1], all[j-f+1:]
	}
	return e
}

// addRow adds w to the columns from..j of row j.
func (e *envelope) addRow(j, from int, w float64) {
	row := e.rows[j][from-e.first[j]:]
	for i := range row {
		row[i] += w
	}
}

// solve returns x of A x = b on the free rows, 0 elsewhere, and whether those rows determine it: a pivot that is nothing but
// rounding is lifted, and x then is one of many. The matrix is overwritten.
func (e *envelope) solve(b []float64, free []bool) (x []float64, determined bool) {
	x, determined = make([]float64, len(b)), true
	for j, row := range e.rows {
		f := e.first[j]
		if !free[j] {
			clear(row)
			row[j-f] = 1
			continue
		}
		own := row[j-f]
		for i := f; i < j; i++ {
			if !free[i] {
				row[i-f] = 0
				continue
			}
			lo := max(f, e.first[i])
			row[i-f] = (row[i-f] - dot(row[lo-f:i-f], e.rows[i][lo-e.first[i]:i-e.first[i]])) / e.rows[i][i-e.first[i]]
		}
		pivot := own - dot(row[:j-f], row[:j-f])
		if !(pivot > 1e-11*own) {
			pivot, determined = max(1e-8*own, 1e-300), false
		}
		row[j-f] = math.Sqrt(pivot)
		x[j] = (b[j] - dot(row[:j-f], x[f:j])) / row[j-f]
	}
	for j := len(e.rows) - 1; j >= 0; j-- {
		f := e.first[j]
		if !free[j] {
			x[j] = 0
			continue
		}
		x[j] /= e.rows[j][j-f]
		for i := f; i < j; i++ {
			x[i] -= e.rows[j][i-f] * x[j]
		}
	}
	return x, determined
}

// dot is the inner product of two slices of one length.
func dot(a, b []float64) float64 {
	sum := 0.0
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}
