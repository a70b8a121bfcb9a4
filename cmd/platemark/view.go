package main

import (
	"bufio"
	"fmt"
	"net"
	"os"
	"os/exec"
	"runtime"
	"runtime/debug"

	"platemark/cmd/platemark/desk"
)

type viewCmd struct {
	Recipe    []string `arg:"" help:"The recipes." type:"readablefile"`
	NoBrowser bool     `help:"Open no browser; only print the address."`
	workersFlag
}

func (viewCmd) Help() string {
	return `Opens a page in the browser on which a recipe is written beside its picture. The picture is that after any line of any print, from the whole of it to 400 %; from 25 % up every pixel of the print counts, and what is shown at 100 % is what a build writes. It is compared with another line, with a kept round, with the print on another paper, or with a print of another recipe in the folder: beside each other, under a line that is dragged, or as a map of how they differ; and both are shown as a paper will show them. The pages that inspect, proof and diff write are a key away, made of the text as it stands. Masks are hatched, values and places are read under the pointer, mistakes and their mends stand at their lines, and what is typed shows at once. Spots and where they copy from, strokes, ellipses, polygons and gradients of masks, crops and sections for a sheet of proofs are drawn by hand: each is a line of the recipe, and its points can be dragged. What inspect finds in the master, or in the finished print, is stepped through at 100 %, without and with its line, and taken or dismissed by a key. The space bar walks over the whole print, screen by screen; what has been seen is remembered, also for another day.

Ctrl+S in the page saves. A recipe that changed on the disk meanwhile is never written over: both texts are offered. What wasn't saved is kept, also when the computer goes out, and comes back when view is started again. Nothing leaves this machine: the page is served to this machine's browser alone, over 127.0.0.1, and asks no other address for anything. Ctrl-C ends it.

Examples:
  platemark view salt-road.recipe
  platemark view monday/*.recipe`
}

func (c *viewCmd) Run(a *app) error {
	// A decoded master is most of what is held, and holds no pointers: collecting
	// often costs little, and keeps the rest small beside it.
	debug.SetGCPercent(25)
	folder, err := desk.Folder()
	if err != nil {
		return err
	}
	s, err := desk.New(c.Recipe, folder, c.n())
	if err != nil {
		return err
	}
	defer s.Close()
	s.Trouble = func(err error) { a.say(aWarning, "%v", err) }
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		return fmt.Errorf("no address of this machine can be served at: %w", err)
	}
	renew := make(chan struct{})
	go func() {
		for in := bufio.NewScanner(os.Stdin); in.Scan(); {
			renew <- struct{}{}
		}
	}()
	first := true
	return s.Serve(a.ctx, l, renew, func(address string) {
		defer flush(a.out)
		fmt.Fprintf(a.out, "%s\n", address)
		if !first {
			return
		}
		first = false
		fmt.Fprintln(a.out, "lets one browser in, once and within a minute; Enter prints another, Ctrl-C ends")
		if !c.NoBrowser {
			if err := openBrowser(address); err != nil {
				a.say(aNote, "no browser could be opened (%v): open the address yourself", err)
			}
		}
	})
}

// openBrowser asks the system to show an address.
func openBrowser(address string) error {
	command := []string{"xdg-open"}
	switch runtime.GOOS {
	case "darwin":
		command = []string{"open"}
	case "windows":
		command = []string{"rundll32", "url.dll,FileProtocolHandler"}
	}
	c := exec.Command(command[0], append(command[1:], address)...)
	if err := c.Start(); err != nil {
		return err
	}
	go c.Wait()
	return nil
}
