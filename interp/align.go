package interp

import "iter"

// Align pairs the places of two lists of n and m in order at the least cost, with -1
// for no partner; cost(i, j) is that of a pair, gap(i, -1) and gap(-1, j) those of
// no partner.
func Align(n, m int, cost, gap func(i, j int) int) iter.Seq2[int, int] {
	t := make([][]int, n+1)
	for i := range t {
		t[i] = make([]int, m+1)
	}
	for i := n; i >= 0; i-- {
		for j := m; j >= 0; j-- {
			switch {
			case i == n && j == m:
			case i == n:
				t[i][j] = t[i][j+1] + gap(-1, j)
			case j == m:
				t[i][j] = t[i+1][j] + gap(i, -1)
			default:
				t[i][j] = min(t[i+1][j+1]+cost(i, j), t[i+1][j]+gap(i, -1), t[i][j+1]+gap(-1, j))
			}
		}
	}
	return func(yield func(i, j int) bool) {
		more := true
		for i, j := 0, 0; more && (i < n || j < m); {
			switch {
			case i < n && j < m && t[i][j] == t[i+1][j+1]+cost(i, j):
				more = yield(i, j)
				i, j = i+1, j+1
			case i < n && t[i][j] == t[i+1][j]+gap(i, -1):
				more = yield(i, -1)
				i++
			default:
				more = yield(-1, j)
				j++
			}
		}
	}
}
