package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/mattn/go-runewidth"
	"golang.org/x/sys/unix"
)

// A screen keeps what a terminal would show, and everything that scrolled off
// its top: lines, of which escape sequences move the cursor up and clear.
type screen struct {
	lines    [][]rune
	row, col int
	all      []byte // as received
}

var escape = regexp.MustCompile(`^\x1b\[([0-9;?]*)([A-Za-z])`)

func (s *screen) write(b []byte) {
	s.all = append(s.all, b...)
	for text := string(b); text != ""; {
		if m := escape.FindStringSubmatch(text); m != nil {
			text = text[len(m[0]):]
			n, _ := strconv.Atoi(m[1])
			switch m[2] {
			case "A":
				s.row = max(s.row-max(n, 1), 0)
			case "J":
				if s.row < len(s.lines) {
					s.lines = s.lines[:s.row+1]
					s.lines[s.row] = s.lines[s.row][:min(s.col, len(s.lines[s.row]))]
				}
			case "K":
				if s.row < len(s.lines) {
					s.lines[s.row] = s.lines[s.row][:min(s.col, len(s.lines[s.row]))]
				}
			}
			continue
		}
		r := []rune(text)[0]
		text = text[len(string(r)):]
		switch r {
		case '\n':
			s.row++
		case '\r':
			s.col = 0
		default:
			for len(s.lines) <= s.row {
				s.lines = append(s.lines, nil)
			}
			for len(s.lines[s.row]) <= s.col {
				s.lines[s.row] = append(s.lines[s.row], ' ')
			}
			s.lines[s.row][s.col] = r
			s.col++
		}
	}
}

func (s *screen) String() string {
	var b strings.Builder
	for _, l := range s.lines {
		b.WriteString(strings.TrimRight(string(l), " ") + "\n")
	}
	return b.String()
}

// onTerminal runs the command on a terminal of so many columns. Once until has
// been shown (if it isn't empty), keys are typed; took is the time from then
// to the end.
func onTerminal(t *testing.T, columns uint16, dir, until, keys string, args ...string) (s *screen, code int, took time.Duration) {
	t.Helper()
	ptm, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer ptm.Close()
	n, err := unix.IoctlGetInt(int(ptm.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetPointerInt(int(ptm.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetWinsize(int(ptm.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: 40, Col: columns}); err != nil {
		t.Fatal(err)
	}
	pts, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(context.Background(), 2*time.Minute)
	defer stop()
	c := exec.CommandContext(ctx, binary(t), args...)
	c.Dir, c.Stdin, c.Stdout, c.Stderr = dir, pts, pts, pts
	c.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	pts.Close()
	s = &screen{}
	var typed time.Time
	for buf := make([]byte, 4096); ; {
		n, err := ptm.Read(buf)
		s.write(buf[:n])
		if until != "" && typed.IsZero() && bytes.Contains(s.all, []byte(until)) {
			if keys != "\x03" { // a question is asked a moment before keys are hidden
				time.Sleep(500 * time.Millisecond)
			}
			ptm.Write([]byte(keys))
			typed = time.Now()
		}
		if err != nil { // its other end was closed
			break
		}
	}
	c.Wait()
	if until != "" && typed.IsZero() {
		t.Fatalf("%v: %q was never shown:\n%s", args, until, s)
	}
	return s, c.ProcessState.ExitCode(), time.Since(typed)
}

// fits says whether every line was within the width, but for those of one long
// word.
func fits(t *testing.T, s *screen, columns int) {
	t.Helper()
	for _, l := range strings.Split(s.String(), "\n") {
		if runewidth.StringWidth(l) > columns && strings.Contains(strings.TrimSpace(l), " ") {
			t.Errorf("%d cells on %d: %q", runewidth.StringWidth(l), columns, l)
		}
	}
}

// On a terminal of any width an order shows each print once and no bar that
// has ended; plans keep to the width.
func TestOrderOnATerminal(t *testing.T) {
	for _, columns := range []int{70, 80, 120} {
		dir, recipes := orderOf(t)
		s, code, _ := onTerminal(t, uint16(columns), dir, "", "", append([]string{"build", "--out", "order"}, recipes...)...)
		if code != exitDone {
			t.Fatalf("exit code %d:\n%s", code, s)
		}
		fits(t, s, columns)
		text := s.String()
		for _, r := range recipes {
			if n := strings.Count(text, r+"  p  "); n != 1 {
				t.Errorf("%d columns: %s stands %d times:\n%s", columns, r, n, text)
			}
		}
		if !strings.Contains(text, "12 built, 0 already there, 0 failed, in ") || strings.Contains(text, "%  about") {
			t.Errorf("%d columns:\n%s", columns, text)
		}
		s, _, _ = onTerminal(t, uint16(columns), dir, "", "", "plan", recipes[0])
		fits(t, s, columns)
	}
}

// Data keeps its own lines on a narrow terminal, so that it can be copied.
func TestDataIsNotFolded(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "r.recipe"), "recipe 1 draft\nmastre \"m.tif\"\n")
	s, code, _ := onTerminal(t, 40, dir, "", "", "check", "--json", "r.recipe")
	if !json.Valid(s.all) || code != exitDiffers {
		t.Errorf("exit code %d:\n%s", code, s)
	}
}

// Ctrl-C ends a build within a second at each stage, with one sentence that
// doesn't blame the recipe, and leaves nothing.
func TestInterruptAtEachStage(t *testing.T) {
	dir := t.TempDir()
	if err := writeMaster(filepath.Join(dir, "m.tif"), 3000, 2000, 3, "opRGB"); err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(killRecipe, "at 120 ppi", "at 900 ppi")
	write(t, filepath.Join(dir, "r.recipe"), text)
	write(t, filepath.Join(dir, "s.recipe"), strings.ReplaceAll(text, "p.jpg", "s.jpg"))
	two := text + strings.NewReplacer("print p", "print q", "p.jpg", "q.jpg").Replace(text[strings.Index(text, "print p"):])
	write(t, filepath.Join(dir, "t.recipe"), two)
	for until, recipes := range map[string][]string{
		"reading m.tif": {"r.recipe"}, "preparing": {"t.recipe"}, "print p": {"r.recipe"},
		"1 of 2, r.recipe, print p": {"r.recipe", "s.recipe"},
	} {
		s, code, took := onTerminal(t, 80, dir, until, "\x03", append([]string{"build"}, recipes...)...)
		if code != exitDiffers || took > time.Second || !strings.HasSuffix(s.String(), "stopped; nothing half written was left\n") || strings.Contains(s.String(), "PM") {
			t.Errorf("at %s: exit code %d after %v:\n%s", until, code, took, s)
		}
		if list, _ := os.ReadDir(dir); len(list) != 4 {
			t.Errorf("at %s: %v was left", until, list)
		}
	}
}

// The passphrase of a key is asked for and not shown; Ctrl-C ends the question.
func TestPassphraseIsAskedFor(t *testing.T) {
	dir := t.TempDir()
	if err := writeMaster(filepath.Join(dir, "m.tif"), 60, 40, 3, "opRGB"); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "r.recipe"), strings.Replace(killRecipe, "30 in x 20 in at 120", "1.5 in x 1 in at 40", 1))
	key, err := os.ReadFile("../../interp/sign/testdata/locked")
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "locked"), string(key))
	for _, c := range []struct {
		keys, want string
		code       int
	}{
		{"\x03", "stopped; nothing half written was left", exitDiffers},
		{"pepper road\n", "error: that isn't the passphrase of locked", exitDiffers},
		{"salt road\n", "signed with the key SHA256:", exitDone},
	} {
		s, code, took := onTerminal(t, 100, dir, "Passphrase of locked: ", c.keys, "build", "r.recipe", "--sign", "locked")
		if code != c.code || !strings.Contains(s.String(), c.want) || strings.Contains(s.String(), "road\n") || c.keys == "\x03" && took > 5*time.Second {
			t.Errorf("%q: exit code %d after %v:\n%s", c.keys, code, took, s)
		}
	}
}
