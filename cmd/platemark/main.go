// Command platemark builds print files from recipes, keeps an audit log beside
// each, and makes the same bytes again years later.
//
// The files here only talk: one verb a file. What a verb does lies in interp.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"syscall"

	"github.com/alecthomas/kong"

	"platemark/interp"
	"platemark/interp/disk"
)

// Exit codes, the same for every command.
const (
	exitDone    = 0
	exitDiffers = 1 // something differs or was refused
	exitUsage   = 2 // the command line is wrong
)

// app is what every command needs: where to talk, and how.
type app struct {
	ctx    context.Context
	out    io.Writer
	err    io.Writer
	colour bool
	width  int      // of the terminal; 100 where there is none
	screen *os.File // where bars are drawn; nil where nobody watches
}

// errRefused ends a command with exit code 1 after it has said why.
var errRefused = errors.New("refused")

// usageError is a wrong use that kong can't see.
type usageError struct{ what string }

func (u usageError) Error() string { return u.what }

// cli is the command line.
type cli struct {
	Build      buildCmd      `cmd:"" help:"Build the print files of recipes, each with its audit log."`
	Check      checkCmd      `cmd:"" help:"Read recipes and say everything that is wrong, without building."`
	Fmt        fmtCmd        `cmd:"" help:"Bring recipes into their one form; the meaning stays."`
	Plan       planCmd       `cmd:"" help:"Show what a build would do: steps, sizes, resolution, memory and time."`
	Pin        pinCmd        `cmd:"" help:"Write the digests of a recipe's files into its inputs block."`
	Proof      proofCmd      `cmd:"" help:"Show how a paper will show a print, with figures; with --fit, propose the tone block for it."`
	Adopt      adoptCmd      `cmd:"" help:"Take a JPEG over into a 16-bit TIFF, once, so that it can be a master."`
	Describe   describeCmd   `cmd:"" help:"Say what matters of a picture or profile for printing, and what a recipe needs."`
	Verify     verifyCmd     `cmd:"" help:"Check audit logs: their chain, their inputs, their print files."`
	Diff       diffCmd       `cmd:"" help:"Say what changed between two recipes, logs or rounds, in what they make."`
	Round      roundCmd      `cmd:"" help:"Keep the recipe and its logs as this proof round, and begin the next."`
	Rounds     roundsCmd     `cmd:"" help:"List the rounds kept; approve a print."`
	Reprint    reprintCmd    `cmd:"" help:"Make a print again from its audit log, byte for byte."`
	Demo       demoCmd       `cmd:"" help:"Draw an invented master, build two prints of it, verify, delete one and reprint it."`
	Lsp        lspCmd        `cmd:"" help:"Serve editors: what is wrong while you type, completion, explanations, renaming."`
	New        newCmd        `cmd:"" help:"Write a first recipe from a master."`
	Copy       copyCmd       `cmd:"" help:"Copy blocks from one recipe into others, everything else untouched."`
	Explain    explainCmd    `cmd:"" help:"Print the reference's entry for a word, a unit or the code of a message."`
	Completion completionCmd `cmd:"" help:"Make a shell complete commands, files and names in recipes."`
	Version    versionCmd    `cmd:"" help:"Say which engine this is."`
}

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

func run(args []string, stdout, stderr io.Writer) int {
	if err := limits(); err != nil {
		fmt.Fprintf(stderr, "error: %v\n", err)
		return exitDiffers
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	a := &app{ctx: ctx, out: stdout, err: stderr, width: 100}
	if f, w := terminal(stderr); f != nil {
		a.screen, a.width, a.err = f, w, &folded{w: f, width: w}
		a.colour = os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" && escapes(f)
	}
	if f, w := terminal(stdout); f != nil {
		a.out = &folded{w: f, width: w}
	}
	defer func() { flush(a.out); flush(a.err) }()
	// A finished exit is a value here, so that tests and deferred work see it.
	type exit struct{ code int }
	code := exitDone
	func() {
		defer func() {
			if r := recover(); r != nil {
				e, ok := r.(exit)
				if !ok {
					panic(r)
				}
				code = e.code
			}
		}()
		var c cli
		k, err := kong.New(&c,
			kong.Name("platemark"),
			kong.Description("A recipe beside each print master says everything that turns it into the print file. platemark builds the file, keeps an audit log, and makes the same bytes again years later.\n\nExit codes: 0 done, 1 something differs or was refused, 2 wrong use."),
			kong.Writers(stdout, stderr),
			kong.Exit(func(code int) { panic(exit{code}) }),
			kong.UsageOnError(),
			kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: a.width}),
			kong.Vars{"cores": fmt.Sprint(runtime.GOMAXPROCS(0))},
			kong.NamedMapper("readablefile", readableFile),
			kong.Bind(a),
		)
		if err != nil {
			panic(err)
		}
		if len(args) == 0 {
			args = []string{"--help"}
		}
		kc, err := k.Parse(flagsFirst(k.Model, args))
		if err != nil {
			fmt.Fprintf(stderr, "error: %v\n", err)
			var pe *kong.ParseError
			if errors.As(err, &pe) && pe.Context != nil && pe.Context.Command() != "" {
				fmt.Fprintf(stderr, "hint: platemark %s --help\n", firstWord(pe.Context.Command()))
			} else {
				fmt.Fprintln(stderr, "hint: platemark --help")
			}
			code = exitUsage
			return
		}
		code = a.finish(kc.Run())
		a.tellSwept()
	}()
	return code
}

func firstWord(s string) string {
	for i, r := range s {
		if r == ' ' {
			return s[:i]
		}
	}
	return s
}

// finish says an error and picks the exit code: the one place for both.
func (a *app) finish(err error) int {
	var use usageError
	var diff *interp.Difference
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errRefused):
		return exitDiffers
	case errors.As(err, &use):
		fmt.Fprintf(a.err, "error: %v\n", err)
		return exitUsage
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(a.err, "stopped; nothing half written was left")
		return exitDiffers
	case errors.As(err, &diff):
		fmt.Fprintf(a.err, "different: %v\n", err)
		fmt.Fprintln(a.err, "hint: no file was written under the print's name")
		return exitDiffers
	default:
		fmt.Fprintf(a.err, "error: %v\n", err)
		return exitDiffers
	}
}

// tellSwept says what was taken away of runs that were killed.
func (a *app) tellSwept() {
	for _, s := range disk.TakeSwept() {
		what := fmt.Sprintf("%d unfinished files", s.Files)
		if s.Files == 1 {
			what = "an unfinished file"
		}
		fmt.Fprintf(a.err, "note: %s (%s) of a run that was cut off was taken out of %s\n", what, interp.SizeText(s.Bytes), s.Folder)
	}
}

// workersHelp is the flag that some commands share.
type workersFlag struct {
	Workers int `help:"How many processors to use (default: all, here ${cores}). The bytes are the same whatever the number." placeholder:"N"`
}

func (w workersFlag) n() int {
	if w.Workers > 0 {
		return w.Workers
	}
	return runtime.GOMAXPROCS(0)
}
