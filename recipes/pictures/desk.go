package main

import (
	"bufio"
	"bytes"
	"context"
	"image/png"
	"log"
	"os/exec"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// deskPicture takes a picture of the page on which a recipe is written, with the
// ring so many lines above the last, and a key pressed on the picture.
func deskPicture(tool, demo, recipe string, above int, key, to string) {
	c := exec.Command(tool, "view", "--no-browser", recipe)
	c.Dir = demo
	in, err := c.StdinPipe() // its end would be read as Enter's
	check(err)
	out, err := c.StdoutPipe()
	check(err)
	check(c.Start())
	defer func() { in.Close(); c.Process.Kill(); c.Wait() }()
	lines := bufio.NewScanner(out)
	if !lines.Scan() {
		log.Fatal("the command says no address")
	}
	address := lines.Text()
	go func() {
		for lines.Scan() {
		}
	}()

	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath("chromium"), chromedp.NoSandbox)
	ctx, stop := chromedp.NewExecAllocator(context.Background(), options...)
	defer stop()
	ctx, stop = chromedp.NewContext(ctx)
	defer stop()
	ctx, stop = context.WithTimeout(ctx, 2*time.Minute)
	defer stop()
	ready := chromedp.Poll(`!!document.querySelector("#view")?.dataset.ready`, nil)
	up := chromedp.KeyEvent(kb.ArrowUp, chromedp.KeyModifiers(input.ModifierAlt))
	do := chromedp.Tasks{emulation.SetDeviceMetricsOverride(1280, 800, 1, false), chromedp.Navigate(address), ready, chromedp.Focus("#view")}
	for range above {
		do = append(do, up, chromedp.Sleep(time.Second), ready)
	}
	var shot []byte
	check(chromedp.Run(ctx, append(do, chromedp.KeyEvent(key), chromedp.Sleep(2*time.Second), ready, chromedp.CaptureScreenshot(&shot))))
	m, err := png.Decode(bytes.NewReader(shot))
	check(err)
	writeJPEG(to, m, 88)
}
