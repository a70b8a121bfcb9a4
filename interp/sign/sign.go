// Package sign signs files with OpenSSH keys and reads what others signed: the
// format SSHSIG of `ssh-keygen -Y` (PROTOCOL.sshsig of OpenSSH), so that each
// checks what the other signed. Keys and cryptography are those of
// golang.org/x/crypto/ssh; here are the wrapping, the namespaces and the list
// of who may sign (signers.go). It knows nothing of logs and packages.
package sign

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"crypto/sha512"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"slices"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"

	"platemark/interp/disk"
)

// Namespaces say what a signature is of: one that was made of a log never
// passes for one of a package, even of the same bytes.
const (
	Log      = "platemark-log"
	Register = "platemark-register"
	Package  = "platemark-package"
)

// Suffix is behind a file's name in the name of its signature, as ssh-keygen
// has it.
const Suffix = ".sig"

// A Key signs.
type Key struct{ signer ssh.Signer }

// LoadKey reads an OpenSSH Ed25519 private key. ask is called for the
// passphrase of an encrypted one; nil says that nobody can be asked.
func LoadKey(path string, ask func(prompt string) ([]byte, error)) (*Key, error) {
	b, err := disk.Read(path, 1<<16)
	if err != nil {
		return nil, fmt.Errorf("the key %s can't be read: %w", path, disk.PlainError(err))
	}
	if _, _, _, _, err := ssh.ParseAuthorizedKey(b); err == nil {
		return nil, fmt.Errorf("%s is the public half of a key: sign with the private one, which lies beside it without .pub", path)
	}
	raw, err := ssh.ParseRawPrivateKey(b)
	if locked := (*ssh.PassphraseMissingError)(nil); errors.As(err, &locked) {
		if ask == nil {
			return nil, fmt.Errorf("the key %s has a passphrase, and there is no terminal to ask for it: sign on a terminal, or with a key without one", path)
		}
		word, err := ask("Passphrase of " + path + ": ")
		if err != nil {
			return nil, fmt.Errorf("the passphrase can't be read: %w", err)
		}
		raw, err = ssh.ParseRawPrivateKeyWithPassphrase(b, word)
		clear(word)
		if errors.Is(err, x509.IncorrectPasswordError) {
			return nil, fmt.Errorf("that isn't the passphrase of %s", path)
		}
		if err != nil {
			return nil, fmt.Errorf("the key %s can't be used: %w", path, err)
		}
	} else if err != nil {
		return nil, fmt.Errorf("%s isn't an OpenSSH private key: `ssh-keygen -t ed25519 -f FILE` makes one", path)
	}
	s, err := ssh.NewSignerFromKey(raw)
	if err != nil {
		return nil, fmt.Errorf("the key %s can't be used: %w", path, err)
	}
	if kind := s.PublicKey().Type(); kind != ssh.KeyAlgoED25519 {
		return nil, fmt.Errorf("%s is a key of the kind %s, and only ssh-ed25519 signs here: `ssh-keygen -t ed25519 -f FILE` makes one", path, kind)
	}
	return &Key{s}, nil
}

// Fingerprint names the key as ssh-keygen does: SHA256:….
func (k *Key) Fingerprint() string { return ssh.FingerprintSHA256(k.signer.PublicKey()) }

const (
	magic  = "SSHSIG"
	begin  = "-----BEGIN SSH SIGNATURE-----\n"
	end    = "\n-----END SSH SIGNATURE-----\n"
	column = 70 // characters of a line
)

// blob is a signature's content behind the magic preamble.
type blob struct {
	Version   uint32
	PublicKey []byte
	Namespace string
	Reserved  string
	Hash      string
	Signature []byte
}

// signed is what the key signs, behind the magic preamble.
type signed struct {
	Namespace string
	Reserved  string
	Hash      string
	Digest    []byte
}

// hashes are those that PROTOCOL.sshsig allows.
var hashes = map[string]func() hash.Hash{"sha256": sha256.New, "sha512": sha512.New}

// wrapped is what is signed of a message.
func wrapped(namespace, hash string, message io.Reader) ([]byte, error) {
	h := hashes[hash]()
	if _, err := io.Copy(h, message); err != nil {
		return nil, err
	}
	return append([]byte(magic), ssh.Marshal(signed{Namespace: namespace, Hash: hash, Digest: h.Sum(nil)})...), nil
}

// Sign is the signature of a message, as a file.
func (k *Key) Sign(namespace string, message io.Reader) ([]byte, error) {
	text, err := wrapped(namespace, "sha512", message)
	if err != nil {
		return nil, err
	}
	s, err := k.signer.Sign(rand.Reader, text)
	if err != nil {
		return nil, err
	}
	b := append([]byte(magic), ssh.Marshal(blob{1, k.signer.PublicKey().Marshal(), namespace, "", "sha512", ssh.Marshal(s)})...)
	var lines []string
	for part := range slices.Chunk([]byte(base64.StdEncoding.EncodeToString(b)), column) {
		lines = append(lines, string(part))
	}
	return []byte(begin + strings.Join(lines, "\n") + end), nil
}

// SignFile signs a file and writes path.sig beside it, in place of an older
// signature.
func (k *Key) SignFile(path, namespace string) error {
	f, _, err := disk.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	sig, err := k.Sign(namespace, f)
	if err != nil {
		return err
	}
	return disk.Write(path+Suffix, sig, true)
}

// A Signature is one as read. That it fits something, Check says.
type Signature struct {
	Namespace string
	key       ssh.PublicKey
	hash      string
	sig       ssh.Signature
}

// ReadFile reads the signature beside a file; nil, nil where there is none.
func ReadFile(path string) (*Signature, error) {
	b, err := disk.Read(path+Suffix, 1<<16)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, disk.PlainError(err)
	}
	return Parse(b)
}

// Parse reads a signature: one, with nothing before and behind it, as
// ssh-keygen writes it.
func Parse(file []byte) (*Signature, error) {
	body, ok := bytes.CutPrefix(file, []byte(begin))
	if ok && !bytes.HasSuffix(body, []byte("\n")) {
		body = append(bytes.Clone(body), '\n')
	}
	if body, ok = bytes.CutSuffix(body, []byte(end)); !ok || bytes.ContainsAny(body, "-\r") {
		return nil, errors.New("it isn't one SSH signature and nothing else")
	}
	b, err := base64.StdEncoding.DecodeString(string(body))
	if err != nil {
		return nil, errors.New("its base64 is damaged")
	}
	b, ok = bytes.CutPrefix(b, []byte(magic))
	var p blob
	s := &Signature{}
	switch {
	case !ok || ssh.Unmarshal(b, &p) != nil:
		return nil, errors.New("it isn't an SSH signature inside")
	case p.Version != 1:
		return nil, fmt.Errorf("it is of version %d of the format; version 1 is read", p.Version)
	case hashes[p.Hash] == nil:
		return nil, fmt.Errorf("it is over the hash %q; sha256 and sha512 are allowed", p.Hash)
	}
	if s.key, err = ssh.ParsePublicKey(p.PublicKey); err != nil {
		return nil, fmt.Errorf("its key can't be read: %w", err)
	}
	if kind := s.key.Type(); kind != ssh.KeyAlgoED25519 {
		return nil, fmt.Errorf("its key is of the kind %s, and only signatures of ssh-ed25519 keys are read here", kind)
	}
	if ssh.Unmarshal(p.Signature, &s.sig) != nil || len(s.sig.Rest) > 0 {
		return nil, errors.New("it isn't an SSH signature inside")
	}
	s.Namespace, s.hash = p.Namespace, p.Hash
	return s, nil
}

// Fingerprint names the key that signed, as ssh-keygen does: SHA256:….
func (s *Signature) Fingerprint() string { return ssh.FingerprintSHA256(s.key) }

// Check fails unless the signature is of this message, made for this namespace.
func (s *Signature) Check(namespace string, message io.Reader) error {
	if s.Namespace != namespace {
		return fmt.Errorf("it was made for the namespace %q, and here is %q", s.Namespace, namespace)
	}
	text, err := wrapped(namespace, s.hash, message)
	if err != nil {
		return err
	}
	if s.key.Verify(text, &s.sig) != nil {
		return fmt.Errorf("it isn't of this content: one of the two was changed, or it is of another file (the key is %s)", s.Fingerprint())
	}
	return nil
}

// Whose says who must have signed; a nil *Whose asks for nobody.
type Whose struct {
	Signers *Signers
	// Name is the one that the signers' file must name, "" any.
	Name string
}

// A Verdict is what looking for a file's signature came to.
type Verdict struct {
	Signed bool   // a signature is there
	Key    string // its fingerprint, "" where it can't be read
	By     string // whose it is, as the signers' file says; "" where nobody asked
	Err    error  // why it doesn't count, or why its absence does
}

// Look checks the signature beside a file, whose content is the message, as of
// a time, when it is said to have been signed.
func Look(path, namespace string, message io.Reader, who *Whose, when time.Time) Verdict {
	s, err := ReadFile(path)
	return s.Judge(err, namespace, message, who, when)
}

// Judge is Look of a signature that was read, with the error of reading it; nil
// where there is none.
func (s *Signature) Judge(err error, namespace string, message io.Reader, who *Whose, when time.Time) (v Verdict) {
	v.Signed = s != nil || err != nil
	if s == nil {
		if v.Err = err; err == nil && who != nil {
			v.Err = errors.New("it isn't there")
		}
		return v
	}
	v.Key = s.Fingerprint()
	v.Err = s.Check(namespace, message)
	if who != nil && v.Err == nil {
		v.By, v.Err = who.Signers.Allow(s, who.Name, when)
	}
	return v
}

// Of is the verdict in words, of what was looked at, such as "the log".
func (v Verdict) Of(what string) string {
	switch {
	case v.Err != nil:
		return what + "'s signature doesn't count: " + v.Err.Error()
	case !v.Signed:
		return what + " isn't signed"
	case v.By == "":
		return what + " is signed with the key " + v.Key + "; whose that is, `--signers FILE` tells"
	}
	return what + " is signed by " + v.By + ", with the key " + v.Key
}
