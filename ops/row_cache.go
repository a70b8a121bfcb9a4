package ops

// rowCache keeps rows by number.
type rowCache[T any] struct {
	keys []int // number + 1 of each slot's row
	rows [][]T
}

func newRowCache[T any](slots, n int) (c rowCache[T]) {
	c.keys = make([]int, slots)
	for range slots {
		c.rows = append(c.rows, make([]T, n))
	}
	return c
}

// row is row j and whether it is there; if not, it is to be filled.
func (c *rowCache[T]) row(j int) (row []T, there bool) {
	k := j % len(c.keys)
	there = c.keys[k] == j+1
	c.keys[k] = j + 1
	return c.rows[k], there
}
