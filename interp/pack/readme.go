package pack

import (
	"bytes"
	_ "embed"
	"runtime"
	"slices"
	"text/template"

	"platemark/interp/audit"
)

//go:embed readme.txt
var readMeText string

// readMe is the page that says in plain words what a package is and how the print
// is made again.
func (c *content) readMe() []byte {
	var b bytes.Buffer
	sheet := slices.ContainsFunc(c.log.Steps, func(s audit.StepRecord) bool { return s.Operation == "sheet" }) // which the second reader lacks
	err := template.Must(template.New(readMe).Parse(readMeText)).Execute(&b, map[string]any{
		"File": c.log.Run.Out, "Mark": c.log.File.Mark, "Day": today(), "Engine": audit.ThisEngine(),
		"Payload": c.names.File.Payload, "Program": c.program, "Source": c.source, "Absent": c.names.Absent, "Register": c.names.Register,
		"Others": c.names.Others, "Sheet": sheet, "System": runtime.GOOS + " on " + runtime.GOARCH, "Toolchain": runtime.Version(),
	})
	if err != nil {
		panic(err) // the form is ours
	}
	return b.Bytes()
}
