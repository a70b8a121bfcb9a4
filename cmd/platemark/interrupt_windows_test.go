package main

import (
	"os/exec"
	"syscall"
	"testing"

	"golang.org/x/sys/windows"
)

// interruptible begins a group of processes, for Windows interrupts groups.
func interruptible(c *exec.Cmd) {
	c.SysProcAttr = &syscall.SysProcAttr{CreationFlags: windows.CREATE_NEW_PROCESS_GROUP}
}

// interrupt is Ctrl-Break, which programs are told of as of Ctrl-C; a new group
// doesn't hear Ctrl-C itself.
func interrupt(t *testing.T, c *exec.Cmd) {
	t.Helper()
	if err := windows.GenerateConsoleCtrlEvent(windows.CTRL_BREAK_EVENT, uint32(c.Process.Pid)); err != nil {
		t.Fatal(err)
	}
}
