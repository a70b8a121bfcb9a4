package lint

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"platemark/interp/lint/programs"
)

// A target is what the compiler is asked for. On these it may fuse x*y + z into
// one instruction with one rounding, which gives other bits than two.
type target struct {
	name string
	env  []string
}

func (g target) arch() string { return strings.TrimPrefix(g.env[0], "GOARCH=") }

var targets = []target{
	{"arm64", []string{"GOARCH=arm64"}},
	{"s390x", []string{"GOARCH=s390x"}},
	{"riscv64", []string{"GOARCH=riscv64"}},
	{"amd64 v3", []string{"GOARCH=amd64", "GOAMD64=v3"}},
}

// fused are the mnemonics of instructions that multiply and add with one
// rounding: of arm64, riscv64, ppc64 and loong64 (FMADD…), arm64's vectors
// (FMLA…), s390x (FMADD, MADBR, WFMADB…), and ppc64's
// vectors (XSMADDADP…). VFMAX and the like are no such thing.
var fused = regexp.MustCompile(`^(V?FN?M(ADD|SUB)|V?FML[AS]|[VW]FN?M[AS]([SDX]B)?$|M[AS][DE]BR?$|X[SV]N?M(ADD|SUB))`)

// fusedFine are the functions that may hold fused instructions, with the
// reason. Nothing of ours is among them, and nothing ever should be.
var fusedFine = map[string]string{
	"runtime.(*gcControllerState).commit":     "when the collector runs; no value of the program depends on it",
	"runtime.(*gcControllerState).startCycle": "how many workers the collector has",
	"runtime.(*piController).next":            "the pace at which memory is given back",
	"runtime.(*scavengerState).run":           "the pace at which memory is given back",
	"runtime.gcPaceScavenger":                 "the pace at which memory is given back",
	"runtime.fastexprand":                     "which allocations the memory profile samples",
	"math.log":                                "called only as forbiddenFine allows",
	"math.log2":                               "called only as forbiddenFine allows",
	"math.logAsm.abi0":                        "called only as forbiddenFine allows",
}

// forbidden are calls of functions of package math whose bits differ between
// processors or releases.
var forbidden = regexp.MustCompile(`\bmath\.(?i:arch)?((?i:exp|exp2|expm1|expmulti|log|log10|log1p|log2|pow|sin|cos|sincos|tan|asin|acos|atan|atan2|satan|xatan|sinh|cosh|tanh|asinh|acosh|atanh|cbrt|hypot|gamma|lgamma|erf|erfc|erfinv|erfcinv))(?:\.abi0)?\(SB\)`)

// forbiddenFine are callers that may, by the function they call, with the
// reason.
var forbiddenFine = map[[2]string]string{
	{"math/big.nat.itoa", "log2"}: "the size of the memory for a number's digits, rounded up; the digits don't depend on it",
}

// vexFused finds amd64's fused instructions by their bytes, for the disassembler
// doesn't read this encoding: three-byte VEX prefix, opcode map 0F 38, operand
// prefix 66, and an opcode of the three groups 96 to 9F, A6 to AF, B6 to BF.
// Source: Intel's Software Developer's Manual, volume 2, "VFMADD132PD" and the
// like. Every place in a function is tried, so that nothing hides behind a
// misread neighbour; a constant could in principle look the same.
func vexFused(code []byte) bool {
	for i := 0; i+3 < len(code); i++ {
		if code[i] == 0xc4 && code[i+1]&0x1f == 2 && code[i+2]&3 == 1 && code[i+3]&15 >= 6 && code[i+3]>>4 >= 9 && code[i+3]>>4 <= 11 {
			return true
		}
	}
	return false
}

// unread says whether bytes that the disassembler can't read may hide a fused
// instruction. Zeros are padding. Of arm64 the disassembler doesn't read all
// atomic memory operations; loads and stores, which have bit 27 set and bit 25
// clear, don't compute (Arm Architecture Reference Manual, A64 encoding, op0
// x1x0).
func unread(arch, hex string) bool {
	if strings.Trim(hex, "0") == "" || arch == "amd64" { // amd64: see vexFused
		return false
	}
	word, err := strconv.ParseUint(hex, 16, 32)
	return !(arch == "arm64" && err == nil && word&(1<<27) != 0 && word&(1<<25) == 0)
}

// finding is one thing that the search objects to.
type finding struct{ function, what string }

// search reads a disassembly as go tool objdump writes it.
func search(arch string, dump *bufio.Scanner) (found []finding, instructions int, err error) {
	dump.Buffer(nil, 1<<20)
	function := ""
	var code []byte
	end := func() {
		if arch == "amd64" && vexFused(code) && fusedFine[function] == "" {
			found = append(found, finding{function, "a fused instruction (VEX)"})
		}
		code = code[:0]
	}
	for dump.Scan() {
		line := dump.Text()
		if rest, ok := strings.CutPrefix(line, "TEXT "); ok {
			end()
			function, _, _ = strings.Cut(rest, "(SB)")
			continue
		}
		f := strings.FieldsFunc(line, func(r rune) bool { return r == '\t' })
		if len(f) < 4 {
			continue
		}
		instructions++
		mnemonic, operands, _ := strings.Cut(f[3], " ")
		if mnemonic == "?" && strings.HasPrefix(function, "platemark/") && unread(arch, f[2]) {
			found = append(found, finding{function, "an instruction that can't be read: " + f[2]})
		}
		if arch == "amd64" {
			b, err := hex.DecodeString(f[2])
			if err != nil {
				return nil, 0, fmt.Errorf("%q: %w", line, err)
			}
			code = append(code, b...)
		} else if fused.MatchString(mnemonic) && fusedFine[function] == "" {
			found = append(found, finding{function, "a fused " + mnemonic + " (" + strings.TrimSpace(f[0]) + ")"})
		}
		if m := forbidden.FindStringSubmatch(operands); m != nil && !strings.HasPrefix(function, "math.") {
			if forbiddenFine[[2]string{function, strings.ToLower(m[1])}] == "" {
				found = append(found, finding{function, "a call of math." + m[1] + " (" + strings.TrimSpace(f[0]) + ")"})
			}
		}
	}
	end()
	return found, instructions, dump.Err()
}

// searchProgram disassembles a program and searches it.
func searchProgram(t testing.TB, arch, program string) []finding {
	t.Helper()
	c := exec.Command("go", "tool", "objdump", program)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var why bytes.Buffer
	c.Stderr = &why
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	found, n, err := search(arch, bufio.NewScanner(out))
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Wait(); err != nil {
		t.Fatalf("%v: %s", err, why.Bytes())
	}
	if n < 10_000 {
		t.Fatalf("only %d instructions were read from %s", n, program)
	}
	return found
}

// The print path, compiled for processors that fuse, holds no fused
// instruction and calls no function of package math that isn't the same
// everywhere.
func TestNoFusedInstructions(t *testing.T) {
	lint(t, targets)
}

func lint(t *testing.T, targets []target) {
	dir := t.TempDir()
	for _, g := range targets {
		program := filepath.Join(dir, "reach")
		programs.Build(t, ".", "./reach", program, g.env)
		for _, f := range searchProgram(t, g.arch(), program) {
			t.Errorf("%s: %s has %s", g.name, f.function, f.what)
		}
	}
}

// The search bites: one product that isn't rounded before it meets a sum is
// found on every target, and so is a forbidden function; the same written as it
// should be is not.
func TestLintBites(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"go.mod": "module fixture\n\ngo 1.26\n",
		"main.go": `package main

import "os"

//go:noinline
func wrong(x, y, z float64) float64 { return x*y + z }

//go:noinline
func right(x, y, z float64) float64 { return float64(x*y) + z }

//go:noinline
func small(x, y, z float32) float32 { return x*y + z }

func main() {
	n := float64(len(os.Args))
	println(wrong(n, n, n), right(n, n, n), small(float32(n), 2, 3))
	call(n)
}
`,
		"call.go": `package main

import "math"

//go:noinline
func call(x float64) { println(math.Exp(x), math.Sqrt(x), math.Floor(x)) }
`} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, g := range targets {
		program := filepath.Join(dir, "fixture")
		programs.Build(t, dir, ".", program, g.env)
		got := map[string]string{}
		for _, f := range searchProgram(t, g.arch(), program) {
			if strings.HasPrefix(f.function, "main.") {
				got[f.function] += f.what
			}
		}
		if !strings.Contains(got["main.wrong"], "fused") || !strings.Contains(got["main.small"], "fused") {
			t.Errorf("%s: an unrounded product was not found; found: %v", g.name, got)
		}
		if !strings.Contains(strings.ToLower(got["main.call"]), "math.exp") {
			t.Errorf("%s: a call of math.Exp was not found; found: %v", g.name, got)
		}
		if len(got) != 3 {
			t.Errorf("%s: found %v, expected three functions", g.name, got)
		}
	}
}

// Mnemonics of every kind that we know, as the disassembler writes them, and
// neighbours that are harmless.
func TestFusedMnemonics(t *testing.T) {
	// Source: the names in the architectures' manuals as go tool objdump
	// spells them; collected by hand.
	for _, m := range strings.Fields("FMADDD FMADDS FMSUBD FNMADDD FNMSUBS VFMLA FMLS FMADD FMSUBS MADBR MSDBR MAEBR MSEB WFMADB WFMASB WFMSDB WFNMADB VFMA VFMS VFMADB XSMADDADP XSMSUBMDP XSNMADDADP XVMADDASP XVNMSUBMDP") {
		if !fused.MatchString(m) {
			t.Errorf("%s was not seen as fused", m)
		}
	}
	for _, m := range strings.Fields("VFMAX WFMDB FMULD FADDS MULSD VMULPD VADDPS FMOVD MADD MSUB FMAXD FMIND MAR VFMIN VFMDB XSMULDP MSUBU FNMULD") {
		if fused.MatchString(m) {
			t.Errorf("%s was taken for fused", m)
		}
	}
	for code, want := range map[string]bool{"c4e2e9b9c2": true, "90c4c27998d0": true, "c4e2f1af00": true, "c5f058c1": false, "c4e2e9b0c2": false, "c4e1e9b9c2": false} {
		if b, _ := hex.DecodeString(code); vexFused(b) != want {
			t.Errorf("%s: %v, expected %v", code, !want, want)
		}
	}
	for call, want := range map[string]bool{"CALL math.archExp.abi0(SB)": true, "CALL math.Pow(SB)": true, "BR math.log(SB)": true, "CALL math.sqrt(SB)": false,
		"CALL math.Floor(SB)": false, "CALL math/big.nat.expNN(SB)": false, "MOVD math.logxm(SB), R1": false, "CALL platemark/ops/exact.Exp(SB)": false} {
		if forbidden.MatchString(call) != want {
			t.Errorf("%s: %v, expected %v", call, !want, want)
		}
	}
	for f, why := range fusedFine {
		if why == "" || strings.HasPrefix(f, "platemark/") {
			t.Errorf("%s may not be listed without a reason, nor may anything of ours", f)
		}
	}
}
