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
	"reflect"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"unicode/utf8"

	"github.com/alecthomas/kong"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/interp/plan"
	"platemark/lang"
)

// Exit codes, the same for every command.
const (
	exitDone    = 0
	exitDiffers = 1 // something differs or was refused
	exitUsage   = 2 // the command line is wrong
)

// errRefused ends a command with exit code 1 after it has said why.
var errRefused = errors.New("refused")

// usageError is a wrong use that kong can't see.
type usageError struct{ what string }

func (u usageError) Error() string { return u.what }

// stages are the stages of a print's way, in which help shows the verbs.
var stages = []kong.Group{
	{Key: "begin", Title: "Begin: know the master, and write its first recipe"},
	{Key: "write", Title: "Write: say in the recipe what the print shall be"},
	{Key: "look", Title: "Look: see what comes of it before paper and ink are spent"},
	{Key: "make", Title: "Make: the print files, today and years later"},
	{Key: "keep", Title: "Keep: what each round was, and proof that nothing changed"},
}

// cli is the command line.
type cli struct {
	Describe describeCmd `cmd:"" group:"begin" help:"Say what matters of a picture or profile for printing, and what a recipe needs."`
	Adopt    adoptCmd    `cmd:"" group:"begin" help:"Take a JPEG over into a 16-bit TIFF, once, so that it can be a master."`
	New      newCmd      `cmd:"" group:"begin" help:"Write a first recipe from a master."`
	Demo     demoCmd     `cmd:"" group:"begin" help:"Draw an invented master, build two prints of it, verify, delete one and reprint it."`

	Check      checkCmd      `cmd:"" group:"write" help:"Read recipes and say everything that is wrong, without building."`
	Fmt        fmtCmd        `cmd:"" group:"write" help:"Bring recipes into their one form; the meaning stays."`
	Copy       copyCmd       `cmd:"" group:"write" help:"Copy blocks from one recipe into others, everything else untouched."`
	Explain    explainCmd    `cmd:"" group:"write" help:"Print the reference's entry for a word, a unit or the code of a message."`
	Lsp        lspCmd        `cmd:"" group:"write" help:"Serve editors: what is wrong while you type, completion, explanations, renaming."`
	Completion completionCmd `cmd:"" group:"write" help:"Make a shell complete commands, files and names in recipes."`

	Plan    planCmd    `cmd:"" group:"look" help:"Show what a build would do: steps, sizes, resolution, memory and time."`
	View    viewCmd    `cmd:"" group:"look" help:"Write recipes beside their pictures, in the browser: true pixels after any line, mistakes and mends, at once."`
	Proof   proofCmd   `cmd:"" group:"look" help:"Show how a paper will show a print, with figures; with --fit, propose the tone block for it."`
	Inspect inspectCmd `cmd:"" group:"look" help:"Find what the eye would miss: dust, hot pixels, hairs, fringes; and take the lines that mend it."`
	Wedge   wedgeCmd   `cmd:"" group:"look" help:"Say whether a printed wedge, measured, is what its profile promises or what another printer made."`
	Diff    diffCmd    `cmd:"" group:"look" help:"Say what changed between two recipes, logs or rounds, in what they make."`

	Build   buildCmd   `cmd:"" group:"make" help:"Build the print files of recipes, each with its audit log."`
	Sheet   sheetCmd   `cmd:"" group:"make" help:"Put proofs of several recipes' prints on one sheet of paper."`
	Reprint reprintCmd `cmd:"" group:"make" help:"Make a print again from its audit log or its package, byte for byte."`

	Pin         pinCmd         `cmd:"" group:"keep" help:"Write the digests of a recipe's files into its inputs block."`
	Round       roundCmd       `cmd:"" group:"keep" help:"Keep the recipe and its logs as this proof round, and begin the next."`
	Rounds      roundsCmd      `cmd:"" group:"keep" help:"List the rounds kept; approve a print."`
	Register    registerCmd    `cmd:"" group:"keep" help:"Keep the register of an edition: which copy was made from which mark, on which day."`
	Certificate certificateCmd `cmd:"" group:"keep" help:"Write a page for the buyer: which print this is, and how to check it."`
	Verify      verifyCmd      `cmd:"" group:"keep" help:"Check audit logs: their chain, their inputs, their print files; or packages, every file in them."`
	Pack        packCmd        `cmd:"" group:"keep" help:"Put all that a print was made from and with into one package, to make it again from decades later."`
	Prove       proveCmd       `cmd:"" group:"keep" help:"Show that this machine makes the bytes that every machine must."`
	Version     versionCmd     `cmd:"" group:"keep" help:"Say which engine this is."`
}

// commands is the command line, with the one verb that args begin with where they
// begin with one: reading the tags of all takes longer than planning a recipe.
// Completion completes them all.
func commands(args []string) any {
	all := reflect.TypeFor[cli]()
	for i := range all.NumField() {
		if f := all.Field(i); len(args) > 0 && strings.ToLower(f.Name) == args[0] && args[0] != "completion" {
			return reflect.New(reflect.StructOf([]reflect.StructField{f})).Interface()
		}
	}
	return &cli{}
}

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

func run(args []string, stdout, stderr io.Writer) (code int) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	a := newApp(ctx, stdout, stderr)
	defer func() { a.bar.close(); flush(a.out); flush(a.err) }()
	if err := limits(); err != nil {
		return a.finish(err)
	}
	// A finished exit is a value here, so that tests and deferred work see it.
	type exit int
	defer func() {
		switch r := recover().(type) {
		case nil:
		case exit:
			code = int(r)
		default:
			panic(r)
		}
	}()
	k, err := kong.New(commands(args),
		kong.Name("platemark"),
		kong.Description("A recipe beside each print master says everything that turns it into the print file. platemark builds the file, keeps an audit log, and makes the same bytes again years later.\n\nExit codes: 0 done, 1 something differs or was refused, 2 wrong use."),
		kong.Writers(stdout, stderr),
		kong.Exit(func(code int) { panic(exit(code)) }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: a.width}),
		kong.ExplicitGroups(stages),
		kong.Vars{"cores": fmt.Sprint(runtime.GOMAXPROCS(0))},
		kong.NamedMapper("readablefile", readableFile),
		kong.NamedMapper("readableplace", readablePlace),
		kong.Bind(a),
	)
	if err != nil {
		panic(err)
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	for _, arg := range args {
		if !utf8.ValidString(arg) {
			return a.finish(usageError{fmt.Sprintf("%q isn't UTF-8, and neither recipe nor log can hold such a name: rename the file or its folder", arg)})
		}
	}
	kc, err := k.Parse(flagsFirst(k.Model, args))
	if err != nil {
		var file fileError
		if errors.As(err, &file) {
			return a.finish(usageError{file.Error()})
		}
		a.say(anError, "%v", err)
		verb := ""
		var pe *kong.ParseError
		if errors.As(err, &pe) && pe.Context != nil && pe.Context.Command() != "" {
			verb, _, _ = strings.Cut(pe.Context.Command(), " <")
			verb += " "
		}
		a.say(aHint, "platemark %s--help", verb)
		return exitUsage
	}
	code = a.finish(kc.Run())
	if code == exitDone && a.told.err != nil {
		code = a.finish(fmt.Errorf("the rest of what there is to tell can't be written: %w", disk.PlainError(a.told.err)))
	}
	a.tellSwept()
	return code
}

// finish says an error and picks the exit code: the one place for both.
func (a *app) finish(err error) int {
	var use usageError
	var bad *interp.Problems
	var diff *interp.Difference
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errRefused):
		return exitDiffers
	case errors.As(err, &bad):
		a.problems(bad.Source, bad.Diags, lang.Warning)
		return exitDiffers
	case errors.As(err, &use):
		a.say(anError, "%v", err)
		return exitUsage
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(a.err, "stopped; nothing half written was left")
		return exitDiffers
	case errors.As(err, &diff):
		a.say(different, "%v", err)
		a.say(aHint, "no file was written under the print's name")
		return exitDiffers
	default:
		a.say(anError, "%v", err)
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
		a.say(aNote, "%s (%s) of a run that was cut off was taken out of %s", what, plan.SizeText(s.Bytes), s.Folder)
	}
}

// workersHelp is the flag that some commands share.
type workersFlag struct {
	Workers processors `help:"How many processors to use (default: all, here ${cores}). The bytes are the same whatever the number." placeholder:"N"`
}

// processors is how many processors are used, 0 for all.
type processors int

// UnmarshalText reads a number of processors.
func (p *processors) UnmarshalText(text []byte) error {
	n, err := strconv.ParseUint(string(text), 10, 16)
	if err != nil {
		return fmt.Errorf("%q is no number of processors, such as 4", text)
	}
	*p = processors(n)
	return nil
}

func (w workersFlag) n() int {
	if w.Workers > 0 {
		return int(w.Workers)
	}
	return runtime.GOMAXPROCS(0)
}
