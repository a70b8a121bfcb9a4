//go:build amd64 && !plain

#include "go_asm.h"
#include "textflag.h"

// OUT writes the bits of the entry in R13 and moves on by whole bytes; R15 passes.
#define OUT \
	MOVL   R13, R15      \
	ANDL   $63, R15      \
	SHRL   $6, R13       \
	ADDQ   R15, R9       \
	SHLXQ  R15, R8, R8   \
	ORQ    R13, R8       \
	MOVQ   R9, R15       \
	NEGQ   R15           \
	SHLXQ  R15, R8, R15  \
	BSWAPQ R15           \
	MOVQ   R15, (DI)     \
	MOVQ   R9, R15       \
	SHRQ   $3, R15       \
	ADDQ   R15, DI       \
	ANDQ   $7, R9

// func codesBMI2(p *writer, w *[32]uint64, which uint, some uint64, t *codes, first uint32)
// DI where bytes go; R8 the bits that wait, at its low end, R9 how many; SI the
// block's words; BX places in zigzag order left to code, CX the next of them,
// R12 the one after the last; R10 ownBits, whose bias is another than that of
// words, which are within largest/8 of it; R11 places; DX entries of codes; AX the value; R13 the run, then its entry.
TEXT ·codesBMI2(SB), NOSPLIT, $0-44
	MOVQ p+0(FP), AX
	MOVQ writer_buf(AX), DI
	ADDQ writer_at(AX), DI
	MOVQ writer_acc(AX), R8
	MOVQ writer_n(AX), R9
	MOVQ w+8(FP), SI
	MOVQ which+16(FP), CX
	SHRQ $3, CX
	ADDQ CX, SI
	MOVQ some+24(FP), BX
	MOVQ t+32(FP), DX
	ADDQ $codes_ac, DX
	LEAQ ·ownBits(SB), R10
	LEAQ ·places(SB), R11
	MOVL first+40(FP), R13
	MOVL $1, R12
	OUT
	TESTQ BX, BX
	JEQ   end

next:
	TZCNTQ  BX, CX
	BLSRQ   BX, BX
	MOVBLZX (R11)(CX*1), AX
	MOVWLZX (SI)(AX*1), AX
	MOVL    (2048-const_zero)*4(R10)(AX*4), AX
	MOVL    CX, R13
	SUBL    R12, R13
	LEAQ    1(CX), R12
	CMPL    R13, $15
	JHI     far

near:
	SHLL  $4, R13
	MOVL  AX, R15
	ANDL  $15, R15
	ADDL  R15, R13
	MOVL  (DX)(R13*4), R13
	ADDL  AX, R13
	OUT
	TESTQ BX, BX
	JNE   next

end:
	CMPQ R12, $64
	JEQ  done
	MOVL (DX), R13 // nothing more
	OUT

done:
	MOVQ p+0(FP), AX
	SUBQ writer_buf(AX), DI
	MOVQ DI, writer_at(AX)
	MOVQ R8, writer_acc(AX)
	MOVQ R9, writer_n(AX)
	RET

far: // sixteen that are 0
	MOVL R13, CX
	MOVL 0xf0*4(DX), R13
	OUT
	LEAL -16(CX), R13
	CMPL R13, $15
	JHI  far
	JMP  near
