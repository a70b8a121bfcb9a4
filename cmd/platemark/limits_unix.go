//go:build unix

package main

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// What a run needs at least; below it the language's runtime ends a program
// without a word that helps.
const (
	leastFiles     = 32
	leastAddresses = 3 << 30 // bytes: addresses set aside, not memory used
)

// limits fails if the shell allows this program too little to work.
func limits() error {
	var files, addresses unix.Rlimit
	if unix.Getrlimit(unix.RLIMIT_NOFILE, &files) == nil && uint64(files.Cur) < leastFiles {
		return fmt.Errorf("the shell allows this program %d open files, and it needs %d: run `ulimit -n %d` first, or take the limit away", files.Cur, leastFiles, leastFiles)
	}
	if unix.Getrlimit(unix.RLIMIT_AS, &addresses) == nil && uint64(addresses.Cur) < leastAddresses {
		return fmt.Errorf("the shell allows this program %d MB of addresses, and it needs %d MB (not all of it as memory): run `ulimit -v unlimited` first", addresses.Cur/1_000_000, leastAddresses/1_000_000)
	}
	return nil
}
