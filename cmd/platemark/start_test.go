package main

import (
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"testing"
)

// What the command makes ready before it knows what is asked stays small: tables
// and patterns are made by what takes them. The runtime itself says what each
// package's start allocated; this one's holds the tests' own.
func TestStartsWithLittle(t *testing.T) {
	c := exec.Command("platemark", "version")
	c.Env = append(os.Environ(), "GODEBUG=inittrace=1")
	out, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	lines := regexp.MustCompile(`(?m)^init (platemark/\S+) .* (\d+) bytes, (\d+) allocs$`).FindAllStringSubmatch(string(out), -1)
	if len(lines) < 10 {
		t.Fatalf("%d packages told of their start:\n%s", len(lines), out)
	}
	for _, l := range lines {
		bytes, _ := strconv.Atoi(l[2])
		allocs, _ := strconv.Atoi(l[3])
		if l[1] != "platemark/cmd/platemark" && (bytes > 40_000 || allocs > 200) {
			t.Errorf("%s allocates %d bytes in %d pieces before anything is asked of it; make what it holds when it is first taken", l[1], bytes, allocs)
		}
	}
}

// BenchmarkStart is the command's start and end alone.
func BenchmarkStart(b *testing.B) {
	for b.Loop() {
		if err := exec.Command("platemark", "version").Run(); err != nil {
			b.Fatal(err)
		}
	}
}
