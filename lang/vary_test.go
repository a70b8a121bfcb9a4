package lang

import (
	"fmt"
	"strings"
	"testing"
)

// A stop is written as one or as several: both are one unit.
func TestStripsOfAStop(t *testing.T) {
	for line, want := range map[string]string{
		"-1 stop to 1 stop by 1 stop":        "[-1 stop 0 stop 1 stop]",
		"0 stops to 1 stop by 0.5 stops":     "[0 stops 0.5 stops 1 stops]",
		"1 stop to 2 stops by 1 stop":        "[1 stops 2 stops]",
		"1 stop to 20% by 1%":                "[]",
		"0.1% to 0.3% by 0.1%":               "[0.1% 0.2% 0.3%]",
		"100 % to 90 % by 10 %":              "[]",
		"0.5 px to 2 px by 0.75 px":          "[0.5 px 1.25 px 2 px]",
		"0.5 mm to 2 mm by 0.4 mm":           "[]",
		"-5 mired to 5 mired by 5 mired":     "[-5 mired 0 mired 5 mired]",
		"1 stop to 2 stops by 1 mired":       "[]",
		"0.25 stop to 0.75 stop by 0.5 stop": "[0.25 stop 0.75 stop]",
	} {
		rec, _ := Parse("a.recipe", []byte("recipe 1 draft\nsheet a on b {\n    strip of c at (50%, 50%) size 1 in x 1 in vary tone exposure "+line+"\n}\n"))
		if rec == nil || len(rec.Prints) != 1 || len(rec.Prints[0].Sheet.Pieces) != 1 {
			t.Fatalf("%s isn't read", line)
		}
		var got []string
		for _, m := range rec.Prints[0].Sheet.Pieces[0].Values() {
			got = append(got, m.String())
		}
		if s := fmt.Sprintf("[%s]", strings.Join(got, " ")); s != want {
			t.Errorf("%s is %s, want %s", line, s, want)
		}
	}
}
