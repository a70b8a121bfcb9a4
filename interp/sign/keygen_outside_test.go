//go:build outside

package sign

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// keygen says whether `ssh-keygen -Y verify` of OpenSSH accepts a signature of a
// message, in a time zone and as of a time, "" now.
func keygen(t *testing.T, signers, sig, name, namespace, message, zone, at string) (bool, string) {
	t.Helper()
	args := []string{"-Y", "verify", "-f", signers, "-I", name, "-n", namespace, "-s", sig}
	if at != "" {
		args = append(args, "-O", "verify-time="+at)
	}
	c := exec.Command("ssh-keygen", args...)
	c.Env = append(os.Environ(), "TZ="+zone)
	c.Stdin = strings.NewReader(message)
	out, err := c.CombinedOutput()
	if _, ended := err.(*exec.ExitError); err != nil && !ended {
		t.Fatal(err)
	}
	return err == nil, string(out)
}

// ssh-keygen accepts what we sign, and refuses what we refuse.
func TestKeygenChecksOurs(t *testing.T) {
	dir := t.TempDir()
	file, list := filepath.Join(dir, "log"), filepath.Join(dir, "signers")
	for path, text := range map[string]string{file: "a log\n", list: "me@house " + read(t, "testdata/key.pub")} {
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := key(t).SignFile(file, Log); err != nil {
		t.Fatal(err)
	}
	signers, err := ReadSigners(list)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, namespace, message string
		want                     bool
	}{
		{"me@house", Log, "a log\n", true},
		{"me@house", Log, "a log \n", false},
		{"me@house", Register, "a log\n", false},
		{"you@house", Log, "a log\n", false},
	} {
		theirs, said := keygen(t, list, file+Suffix, c.name, c.namespace, c.message, "UTC", "")
		ours := Look(file, c.namespace, strings.NewReader(c.message), &Whose{signers, c.name}, time.Now())
		if theirs != c.want || (ours.Err == nil) != c.want {
			t.Errorf("%+v: ssh-keygen %v (%s), ours: %v", c, theirs, said, ours)
		}
	}
}

// A table of lines of allowed signers, each with the verdict of ssh-keygen.
func TestSignersAgreeWithKeygen(t *testing.T) {
	dir := t.TempDir()
	pub := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(read(t, "testdata/key.pub")), "a key of tests"))
	other := strings.TrimSpace(read(t, "testdata/locked.pub"))
	sig := "testdata/message.sig"
	s, err := Parse([]byte(read(t, sig)))
	if err != nil {
		t.Fatal(err)
	}
	accepted := 0
	for i, c := range []struct{ line, name, zone, at string }{
		{line: "me@x KEY"},
		{line: "me@x KEY a comment of words"},
		{line: "  \tme@x\tKEY"},
		{line: "me@x  KEY"},
		{line: "# me@x KEY"},
		{line: "\n\n# a comment\nme@x KEY\n"},
		{line: "me@x KEY\r\n"},
		{line: "me@x"},
		{line: "KEY"},
		{line: "me@x ssh-ed25519"},
		{line: "me@x ssh-rsa BLOB"},
		{line: "me@x ssh-ed25519 !!!!"},
		{line: "me@x OTHER"},
		{line: "me@x OTHER\nme@x KEY"},
		{line: "you@x KEY"},
		{line: "you@x,me@x KEY"},
		{line: "you@x, me@x KEY"},
		{line: "*@x KEY"},
		{line: "?e@x KEY"},
		{line: "?me@x KEY"},
		{line: "*,!me@x KEY"},
		{line: "!me@x,*@x KEY"},
		{line: "*@x,!bad@x KEY"},
		{line: "*@x,!bad@x KEY", name: "bad@x"},
		{line: "!bad@x KEY"},
		{line: "m*@* KEY"},
		{line: "[m]e@x KEY"},
		{line: "ME@X KEY"},
		{line: `"me x" KEY`, name: "me x"},
		{line: `"me@x" KEY`},
		{line: `"me@x KEY`},
		{line: `"me@x"KEY`},
		{line: `me@x namespaces="platemark-log" KEY`},
		{line: `me@x NAMESPACES="platemark-log" KEY`},
		{line: `me@x namespaces="plate*" KEY`},
		{line: `me@x namespaces="file,platemark-log" KEY`},
		{line: `me@x namespaces="file" KEY`},
		{line: `me@x namespaces="plate*,!platemark-log" KEY`},
		{line: `me@x namespaces="" KEY`},
		{line: `me@x namespaces=platemark-log KEY`},
		{line: `me@x namespaces="platemark-log KEY`},
		{line: `me@x namespaces="a",namespaces="platemark-log" KEY`},
		{line: `me@x namespaces="platemark-log", KEY`},
		{line: `me@x namespaces="platemark-log",,valid-after="20200101" KEY`},
		{line: `me@x ,namespaces="platemark-log" KEY`},
		{line: `me@x namespaces="platemark-log",, KEY`},
		{line: `me@x namespaces="platemark-log"x KEY`},
		{line: `me@x namespaces="plate\"x,platemark-log" KEY`},
		{line: `me@x strange KEY`},
		{line: `me@x strange="x" KEY`},
		{line: `me@x strange="x" KEY` + "\nme@x KEY"},
		{line: `me@x cert-authority KEY`},
		{line: `me@x cert-authority,namespaces="platemark-log" KEY`},
		{line: `me@x CERT-AUTHORITY KEY` + "\nme@x KEY"},
		{line: `me@x no-cert-authority KEY`},
		{line: `me@x valid-before="20200101" KEY`},
		{line: `me@x valid-before="20200101" KEY`, at: "20190101"},
		{line: `me@x valid-after="20200101" KEY`},
		{line: `me@x valid-after="20200101" KEY`, at: "20190101"},
		{line: `me@x valid-after="20200101",valid-before="20300101" KEY`},
		{line: `me@x valid-after="20300101",valid-before="20200101" KEY`, at: "20250101"},
		{line: `me@x valid-after="20200101",valid-before="20200101" KEY`, at: "20200101"},
		{line: `me@x valid-after="20200101",valid-after="20210101" KEY`},
		{line: `me@x valid-after="2020" KEY`},
		{line: `me@x valid-after="20201301" KEY`},
		{line: `me@x valid-after="yesterday" KEY`},
		{line: `me@x valid-after=20200101 KEY`},
		{line: `me@x valid-before="20190102030405Z" KEY`, at: "20190102030405Z"},
		{line: `me@x valid-before="20190102030405Z" KEY`, at: "20190102030406Z"},
		{line: `me@x valid-after="20190102030405Z" KEY`, at: "20190102030405Z"},
		{line: `me@x valid-after="20190102030405Z" KEY`, at: "20190102030404Z"},
		{line: `me@x valid-after="201901020304Z" KEY`, at: "20190102030400Z"},
		{line: `me@x valid-after="201901020304z" KEY`, at: "20190102030359Z"},
		{line: `me@x valid-before="20190102" KEY`, at: "20190101200000Z"},
		{line: `me@x valid-before="20190102" KEY`, at: "20190101200000Z", zone: "Asia/Tokyo"},
		{line: `me@x valid-before="20190102" KEY`, at: "20190101140000Z", zone: "Asia/Tokyo"},
		{line: `me@x valid-before="20190102Z" KEY`, at: "20190101200000Z", zone: "Asia/Tokyo"},
	} {
		list := filepath.Join(dir, fmt.Sprint(i))
		text := strings.NewReplacer("KEY", pub, "BLOB", strings.Fields(pub)[1], "OTHER", other).Replace(c.line)
		if err := os.WriteFile(list, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		if c.zone == "" {
			c.zone = "UTC"
		}
		if c.name == "" {
			c.name = "me@x"
		}
		when := time.Now()
		if c.at != "" {
			when, err = time.Parse("20060102150405Z", (c.at + "000000Z")[:15])
			if len(c.at) == 8 {
				when, err = time.Parse("20060102", c.at)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		theirs, said := keygen(t, list, sig, c.name, Log, "a message\n", c.zone, c.at)
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		was := time.Local
		time.Local = zone
		signers, err := ReadSigners(list)
		time.Local = was
		if err != nil {
			t.Fatal(err)
		}
		_, err = signers.Allow(s, c.name, when)
		if (err == nil) != theirs {
			t.Errorf("%q for %q at %q: ssh-keygen accepts: %v (%s), ours says: %v %v", c.line, c.name, c.at, theirs, strings.TrimSpace(said), err, signers.Skipped)
		}
		if theirs {
			accepted++
		}
	}
	if accepted < 20 {
		t.Errorf("ssh-keygen accepted %d lines only", accepted)
	}
}
