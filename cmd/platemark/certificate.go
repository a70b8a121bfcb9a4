package main

import (
	"fmt"

	"platemark/cmd/platemark/view"
	"platemark/interp/disk"
	"platemark/interp/register"
)

type certificateCmd struct {
	Log      string   `arg:"" name:"log" help:"The audit log of the print file (FILE.MARK.audit.jsonl)." type:"readablefile"`
	Copy     int      `help:"The copy's number in the edition, as it is registered." placeholder:"N" xor:"number"`
	Proof    int      `help:"Or the proof's number." placeholder:"N" xor:"number"`
	Paper    string   `help:"What it is printed on, as the buyer shall read it, instead of the recipe's name for the paper." placeholder:"TEXT"`
	Register string   `help:"The recipe beside which the register lies, or the register, where the log doesn't lead to it." placeholder:"FILE" type:"readablefile"`
	LookIn   []string `help:"Also look for the inputs below this folder, by their digests (may be repeated)." placeholder:"FOLDER"`
	Out      string   `help:"Folder for the certificate, instead of beside the log." placeholder:"FOLDER"`
	Force    bool     `help:"Replace a certificate that exists."`
	workersFlag
}

func (certificateCmd) Help() string {
	return `Writes one page for the buyer, as HTML and as PDF: title, number in the edition, size, paper, dates, mark and digest of the file, the register's head, a small picture, and how to check all that, in plain words. It names nobody. The number must be registered (platemark register add) with the very print of the log.

Examples:
  platemark certificate salt-road-60x40.jpg.4be11c90a2f7.audit.jsonl --copy 3
  platemark certificate LOG --proof 1 --paper "cotton rag, 310 g/m2" --out papers`
}

func (c *certificateCmd) Run(a *app) error {
	k, err := register.Certify(a.ctx, c.Log, register.CertificateOptions{Copy: c.Copy, Proof: c.Proof, Register: c.Register, Paper: c.Paper,
		LookIn: c.LookIn, Side: 1000, Workers: c.n(), Progress: a.bar.tell})
	if err != nil {
		return err
	}
	page, file, missing, err := view.WriteCertificate(k)
	if err != nil {
		return err
	}
	name := k.Name(c.Out)
	for _, f := range []string{name + ".html", name + ".pdf"} {
		if err := free(f, c.Force, "another folder"); err != nil {
			return err
		}
	}
	if missing != "" {
		a.say(aWarning, "the PDF's face has no %s, and leaves room for them; the HTML page shows them", missing)
	}
	if err := disk.Write(name+".html", page, c.Force); err != nil {
		return err
	}
	if err := disk.Write(name+".pdf", file, c.Force); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%s\n%s\n", name+".html", name+".pdf")
	return nil
}
