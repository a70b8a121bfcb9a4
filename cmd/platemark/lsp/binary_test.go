package lsp

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The real program over its real standard input and output.
func TestRealProgram(t *testing.T) {
	bin := filepath.Join(t.TempDir(), "platemark.exe")
	if out, err := exec.Command("go", "build", "-o", bin, "..").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	dir := t.TempDir()
	writeMaster(t, filepath.Join(dir, "salt-road.tif"), 600, 400)
	run := func() (*exec.Cmd, *client, *strings.Builder) {
		cmd := exec.Command(bin, "lsp")
		in, err := cmd.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		var said strings.Builder
		cmd.Stderr = &said
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		return cmd, newClient(t, in, out), &said
	}
	cmd, c, said := run()
	c.initialize()
	uri := uriOf(filepath.Join(dir, "salt-road.recipe"))
	c.opens(uri, strings.Replace(saltRoad, "mitchell", "mitchel", 1))
	got := c.published(uri, 1)
	if len(got) != 1 || got[0].Code != "PM209" || got[0].Range != (span{position{17, 17}, position{17, 24}}) {
		t.Errorf("%+v", got)
	}
	var h hover
	c.ask("textDocument/hover", where(uri, 22, 5), &h)
	if !strings.Contains(h.Contents.Value, "18000 x 12000 px") {
		t.Errorf("%q", h.Contents.Value)
	}
	c.leaves()
	if err := cmd.Wait(); err != nil || said.Len() > 0 {
		t.Errorf("%v: %s", err, said)
	}

	// An editor that breaks off: exit code 1, one plain sentence.
	cmd, c, said = run()
	c.initialize()
	c.in.Close()
	err := cmd.Wait()
	if cmd.ProcessState.ExitCode() != 1 || !strings.Contains(said.String(), "left without asking for a shutdown") {
		t.Errorf("%v: %s", err, said)
	}
}
