package sign

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"

	"platemark/interp/disk"
)

// Signers are who may sign, as a file of ssh-keygen's allowed-signers format
// says (ssh-keygen(1), ALLOWED SIGNERS): a line each with names, options, key.
type Signers struct {
	Path string
	// Skipped says which lines count for nothing, and why. ssh-keygen passes
	// over them, too.
	Skipped []string
	lines   []signer
}

// A signer is a line of the file.
type signer struct {
	names         string // patterns
	key           ssh.PublicKey
	namespaces    *string // patterns; nil for every namespace
	after, before time.Time
}

// ReadSigners reads a file of allowed signers.
func ReadSigners(path string) (*Signers, error) {
	b, err := disk.Read(path, 1<<20)
	if err != nil {
		return nil, fmt.Errorf("the signers %s can't be read: %w", path, disk.PlainError(err))
	}
	s := &Signers{Path: path}
	n := 0
	for line := range bytes.Lines(b) {
		n++
		text := strings.TrimLeft(string(bytes.TrimRight(line, "\r\n")), " \t\r")
		if text == "" || text[0] == '#' {
			continue
		}
		one, err := readSigner(text)
		if err != nil {
			s.Skipped = append(s.Skipped, fmt.Sprintf("%s line %d isn't used: %v", path, n, err))
			continue
		}
		s.lines = append(s.lines, one)
	}
	return s, nil
}

func readSigner(text string) (s signer, err error) {
	rest := ""
	if text[0] == '"' {
		var ok bool
		if s.names, rest, ok = strings.Cut(text[1:], `"`); !ok {
			return s, errors.New("the quote round the names isn't closed")
		}
	} else if i := strings.IndexAny(text, " \t"); i >= 0 {
		s.names, rest = text[:i], text[i:]
	}
	rest = strings.TrimLeft(rest, " \t\r")
	if rest == "" {
		return s, errors.New("it has no key")
	}
	if _, err := readKey(text); err == nil {
		return s, errors.New("it is a key alone, as a .pub file holds it: write in front of it whose it is, a name and a space")
	}
	if s.key, err = readKey(rest); err == nil {
		return s, nil
	}
	end := optionsEnd(rest)
	if end < 0 {
		return s, errors.New("a quote isn't closed")
	}
	if err := s.options(rest[:end]); err != nil {
		return s, err
	}
	s.key, err = readKey(strings.TrimLeft(rest[end:], " \t"))
	return s, err
}

// readKey reads a public key: its kind, its base64, a comment.
func readKey(text string) (ssh.PublicKey, error) {
	f := strings.Fields(text)
	if len(f) < 2 {
		return nil, errors.New("it has no key")
	}
	b, err := base64.StdEncoding.DecodeString(f[1])
	if err != nil {
		return nil, fmt.Errorf("its key can't be read: %w", err)
	}
	k, err := ssh.ParsePublicKey(b)
	if err != nil {
		return nil, fmt.Errorf("its key can't be read: %w", err)
	}
	if k.Type() != f[0] {
		return nil, fmt.Errorf("its key says %s and is %s", f[0], k.Type())
	}
	return k, nil
}

// optionsEnd is where the options end: at a space outside quotes; -1 where a
// quote isn't closed.
func optionsEnd(text string) int {
	quoted := false
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case c == '\\' && strings.HasPrefix(text[i+1:], `"`):
			i++
		case c == '"':
			quoted = !quoted
		case !quoted && (c == ' ' || c == '\t'):
			return i
		}
	}
	if quoted {
		return -1
	}
	return len(text)
}

func (s *signer) options(text string) error {
	for {
		if rest, empty := strings.CutPrefix(text, ","); empty && rest != "" { // as ssh-keygen lets it stand
			text = rest
			continue
		}
		name, _, valued := strings.Cut(text, "=")
		if word := "cert-authority"; len(text) >= len(word) && strings.EqualFold(text[:len(word)], word) {
			return errors.New("it is of a certificate authority, and certificates aren't read here: name the keys themselves")
		}
		if !valued {
			return fmt.Errorf("%q is no option of a signer", text)
		}
		value, rest, err := dequote(text[len(name)+1:])
		if err != nil {
			return fmt.Errorf("its %s: %w", name, err)
		}
		switch strings.ToLower(name) {
		case "namespaces":
			if s.namespaces != nil {
				return errors.New("it has namespaces twice")
			}
			s.namespaces = &value
		case "valid-after":
			err = once(&s.after, value)
		case "valid-before":
			err = once(&s.before, value)
		default:
			return fmt.Errorf("%q is no option of a signer", name)
		}
		switch {
		case err != nil:
			return fmt.Errorf("its %s: %w", name, err)
		case rest == "" && !s.after.IsZero() && !s.before.IsZero() && !s.before.After(s.after):
			return errors.New("its valid-before isn't later than its valid-after")
		case rest == "":
			return nil
		case rest[0] != ',' || len(rest) == 1:
			return fmt.Errorf("%q stands behind an option", rest)
		}
		text = rest[1:]
	}
}

// dequote takes a quoted value; \" is a quote in it.
func dequote(text string) (value, rest string, err error) {
	if !strings.HasPrefix(text, `"`) {
		return "", "", errors.New("the value isn't in quotes")
	}
	for i := 1; i < len(text); i++ {
		switch {
		case strings.HasPrefix(text[i:], `\"`):
			i++
		case text[i] == '"':
			return strings.ReplaceAll(text[1:i], `\"`, `"`), text[i+1:], nil
		}
	}
	return "", "", errors.New("the quote isn't closed")
}

// once sets a time that isn't set yet: YYYYMMDD, YYYYMMDDHHMM or
// YYYYMMDDHHMMSS, with Z or UTC behind it in UTC, else where this machine is.
func once(t *time.Time, value string) error {
	if !t.IsZero() {
		return errors.New("it stands twice")
	}
	where := time.Local
	digits := value
	for _, zone := range []string{"Z", "UTC"} {
		if n := len(value) - len(zone); n > 0 && strings.EqualFold(value[n:], zone) {
			digits, where = value[:n], time.UTC
		}
	}
	layout := map[int]string{8: "20060102", 12: "200601021504", 14: "20060102150405"}[len(digits)]
	at, err := time.ParseInLocation(layout, digits, where)
	if layout == "" || err != nil {
		return fmt.Errorf("%q is no time", value)
	}
	*t = at
	return nil
}

// Allow says whose signature it is, as the first line that allows it names its
// signer; name must be among those, if it isn't "". when is the time that has
// to lie in a line's bounds, which are in them, to the second.
func (s *Signers) Allow(sig *Signature, name string, when time.Time) (by string, err error) {
	why := fmt.Errorf("it is good, by the key %s, which isn't among the signers of %s", sig.Fingerprint(), s.Path)
	if name != "" {
		why = fmt.Errorf("%w as %q", why, name)
	}
	when = when.Truncate(time.Second)
	for _, l := range s.lines {
		switch {
		case !bytes.Equal(l.key.Marshal(), sig.key.Marshal()) || name != "" && !inList(name, l.names):
		case l.namespaces != nil && !inList(sig.Namespace, *l.namespaces):
			why = fmt.Errorf("%s lets the key %s sign %q only, and this is %q", s.Path, sig.Fingerprint(), *l.namespaces, sig.Namespace)
		case !l.after.IsZero() && when.Before(l.after) || !l.before.IsZero() && when.After(l.before):
			why = fmt.Errorf("%s doesn't let the key %s sign at %s", s.Path, sig.Fingerprint(), when.UTC().Format(time.RFC3339))
		case name != "":
			return name, nil
		default:
			return l.names, nil
		}
	}
	return "", why
}

// inList says whether a list of patterns has a name: one that it fits, and none
// that it fits behind a `!`.
func inList(name, list string) bool {
	found := false
	for p := range strings.SplitSeq(list, ",") {
		p, not := strings.CutPrefix(p, "!")
		if fits(name, p) {
			if not {
				return false
			}
			found = true
		}
	}
	return found
}

// fits says whether a name fits a pattern, in which `*` is any text and `?` one
// byte.
func fits(name, pattern string) bool {
	for ; pattern != ""; pattern = pattern[1:] {
		if pattern[0] == '*' {
			rest := strings.TrimLeft(pattern, "*")
			for i := range len(name) + 1 {
				if fits(name[i:], rest) {
					return true
				}
			}
			return false
		}
		if name == "" || pattern[0] != '?' && pattern[0] != name[0] {
			return false
		}
		name = name[1:]
	}
	return name == ""
}
