package main

import (
	"context"
	"os"

	"golang.org/x/term"

	"platemark/interp/sign"
)

// signFlag is the flag of what makes something that can be signed.
type signFlag struct {
	Sign string `help:"Sign with this OpenSSH Ed25519 private key, as FILE.sig beside what is signed; its passphrase is asked for on the terminal." placeholder:"KEY" type:"readablefile"`
}

// key loads the key that signs, nil where none shall.
func (f signFlag) key(a *app) (*sign.Key, error) {
	if f.Sign == "" {
		return nil, nil
	}
	stdin := int(os.Stdin.Fd())
	if !term.IsTerminal(stdin) {
		return sign.LoadKey(f.Sign, nil)
	}
	return sign.LoadKey(f.Sign, func(prompt string) ([]byte, error) {
		state, err := term.GetState(stdin)
		if err == nil {
			_, err = os.Stderr.WriteString(prompt)
		}
		if err != nil {
			return nil, err
		}
		defer os.Stderr.WriteString("\n")
		var word []byte
		read := make(chan error, 1)
		go func() {
			var err error
			word, err = term.ReadPassword(stdin)
			read <- err
		}()
		select {
		case err := <-read:
			return word, err
		case <-a.ctx.Done(): // Ctrl-C; the terminal shows again what is typed
			term.Restore(stdin, state)
			return nil, context.Cause(a.ctx)
		}
	})
}

// signersFlags are the flags of what reads something that may be signed.
type signersFlags struct {
	Signers string `help:"Who may sign, in the allowed-signers format of ssh-keygen: what isn't signed by one of them is refused." placeholder:"FILE" type:"readablefile"`
	Signer  string `help:"With --signers: the one who must have signed, by a name of that file." placeholder:"NAME"`
}

// whose says who must have signed, nil where nobody must.
func (f signersFlags) whose(a *app) (*sign.Whose, error) {
	if f.Signers == "" {
		if f.Signer != "" {
			return nil, usageError{"--signer goes with --signers"}
		}
		return nil, nil
	}
	s, err := sign.ReadSigners(f.Signers)
	if err != nil {
		return nil, err
	}
	for _, w := range s.Skipped {
		a.say(aWarning, "%s", w)
	}
	return &sign.Whose{Signers: s, Name: f.Signer}, nil
}
