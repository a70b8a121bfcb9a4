package sign

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func key(t *testing.T) *Key {
	t.Helper()
	k, err := LoadKey("testdata/key", nil)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// testdata/message.sig is by OpenSSH 9.2: `ssh-keygen -Y sign -n platemark-log
// -f key message`. Ed25519 signs without chance (RFC 8032), so that ours are
// the same bytes.
func TestSignsAsOpenSSHDoes(t *testing.T) {
	want := read(t, "testdata/message.sig")
	got, err := key(t).Sign(Log, strings.NewReader("a message\n"))
	if err != nil || string(got) != want {
		t.Errorf("%v\n%s\nssh-keygen has\n%s", err, got, want)
	}
	s, err := Parse([]byte(want))
	if err != nil {
		t.Fatal(err)
	}
	if s.Fingerprint() != key(t).Fingerprint() {
		t.Errorf("the key is %s, read as %s", key(t).Fingerprint(), s.Fingerprint())
	}
	if err := s.Check(Log, strings.NewReader("a message\n")); err != nil {
		t.Error(err)
	}
	for _, c := range []struct{ namespace, message, want string }{
		{Log, "another message\n", "it isn't of this content"},
		{Register, "a message\n", `made for the namespace "platemark-log", and here is "platemark-register"`},
		{"", "a message\n", `and here is ""`},
	} {
		if err := s.Check(c.namespace, strings.NewReader(c.message)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v", c, err)
		}
	}
}

func TestSignaturesThatAreRefused(t *testing.T) {
	good := read(t, "testdata/message.sig")
	raw := func(change func(b []byte) []byte) string {
		b, err := key(t).Sign(Log, strings.NewReader(""))
		if err != nil {
			t.Fatal(err)
		}
		return string(change(b))
	}
	for name, text := range map[string]string{
		"text before":    "a word\n" + good,
		"text behind":    good + "a word\n",
		"two":            good + good,
		"CRLF":           strings.ReplaceAll(good, "\n", "\r\n"),
		"no end":         good[:len(good)-10],
		"nothing":        "",
		"nothing inside": begin[:len(begin)-1] + end,
		"not base64":     strings.Replace(good, "U", "*", 1),
		"other preamble": strings.Replace(good, "U1NI", "U1NJ", 1),
		"cut inside":     raw(func(b []byte) []byte { return bytes.Replace(b, []byte("\n-----END"), []byte("AAAA\n-----END"), 1) }),
		"a line left out": raw(func(b []byte) []byte {
			l := bytes.SplitAfter(b, []byte("\n"))
			return bytes.Join(append(l[:2:2], l[3:]...), nil)
		}),
	} {
		if s, err := Parse([]byte(text)); err == nil {
			t.Errorf("%s: read as %+v", name, s)
		}
	}
	if _, err := Parse([]byte(strings.TrimSuffix(good, "\n"))); err != nil {
		t.Errorf("without the last line's end: %v", err)
	}
}

func TestKeys(t *testing.T) {
	word := ""
	ask := func(string) ([]byte, error) { return []byte(word), nil }
	word = "salt road"
	if k, err := LoadKey("testdata/locked", ask); err != nil || !strings.Contains(k.Fingerprint(), "SHA256:") {
		t.Error(err)
	}
	word = "wrong"
	for _, c := range []struct {
		path string
		ask  func(string) ([]byte, error)
		want string
	}{
		{"testdata/locked", ask, "that isn't the passphrase"},
		{"testdata/locked", nil, "no terminal to ask for it"},
		{"testdata/locked", func(string) ([]byte, error) { return nil, errors.New("cut off") }, "cut off"},
		{"testdata/key.pub", nil, "the public half of a key"},
		{"testdata/ecdsa", nil, "only ssh-ed25519 signs here"},
		{"testdata/message", nil, "isn't an OpenSSH private key"},
		{"testdata/none", nil, "can't be read"},
	} {
		if _, err := LoadKey(c.path, c.ask); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, expected %q", c.path, err, c.want)
		}
	}
}

func TestLook(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "x")
	if err := os.WriteFile(file, []byte("content"), 0o666); err != nil {
		t.Fatal(err)
	}
	list := filepath.Join(dir, "signers")
	if err := os.WriteFile(list, []byte("me@house "+read(t, "testdata/key.pub")), 0o666); err != nil {
		t.Fatal(err)
	}
	signers, err := ReadSigners(list)
	if err != nil {
		t.Fatal(err)
	}
	look := func(content string, who *Whose) string {
		return Look(file, Package, strings.NewReader(content), who, time.Now()).Of("the file")
	}
	who := &Whose{Signers: signers}
	for _, c := range []struct{ got, want string }{
		{look("content", nil), "the file isn't signed"},
		{look("content", who), "the file's signature doesn't count: it isn't there"},
	} {
		if c.got != c.want {
			t.Errorf("%q, expected %q", c.got, c.want)
		}
	}
	if err := key(t).SignFile(file, Package); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ got, want string }{
		{look("content", nil), "the file is signed with the key SHA256:"},
		{look("content", who), "the file is signed by me@house, with the key SHA256:"},
		{look("other", nil), "doesn't count: it isn't of this content"},
		{look("content", &Whose{signers, "you@house"}), `isn't among the signers of ` + list + ` as "you@house"`},
		{look("content", &Whose{&Signers{Path: "none"}, ""}), "it is good, by the key SHA256:"},
	} {
		if !strings.Contains(c.got, c.want) {
			t.Errorf("%q, expected %q", c.got, c.want)
		}
	}
}
