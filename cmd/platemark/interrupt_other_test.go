//go:build !windows

package main

import (
	"os"
	"os/exec"
	"testing"
)

// interruptible prepares a command that interrupt will be sent to.
func interruptible(*exec.Cmd) {}

// interrupt is Ctrl-C.
func interrupt(t *testing.T, c *exec.Cmd) {
	t.Helper()
	if err := c.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
}
