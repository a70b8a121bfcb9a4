//go:build !unix

package disk

const openWithoutWaiting = 0

func interrupted(error) bool { return false }

// SyncDir does nothing: the system has no way to.
func SyncDir(string) error { return nil }
