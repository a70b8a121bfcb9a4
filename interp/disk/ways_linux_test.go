package disk

import "testing"

// ways runs a test with nameless files and with temporary names.
func ways(t *testing.T, f func(t *testing.T)) {
	t.Run("nameless", f)
	t.Run("named", func(t *testing.T) { named(t); f(t) })
}

// named has files made with temporary names.
func named(t *testing.T) {
	testOnlyNamed = true
	t.Cleanup(func() { testOnlyNamed = false })
}
