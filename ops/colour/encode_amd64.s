//go:build amd64 && !plain

#include "textflag.h"

DATA encodeOne<>+0(SB)/8, $1.0
GLOBL encodeOne<>(SB), RODATA|NOPTR, $8
DATA encodeLow<>+0(SB)/8, $0x00000000007fffff
GLOBL encodeLow<>(SB), RODATA|NOPTR, $8

// func encodeRowAVX2(dst *uint16, step int, x *float64, n int, cells *toneCell, bound *float64, first uint64)
// Tone.encode for a tone whose guesses are near, four values at a time: Y0 their
// light, X7 their guesses.
TEXT ·encodeRowAVX2(SB), NOSPLIT, $0-56
	MOVQ         dst+0(FP), DI
	MOVQ         step+8(FP), R10
	SHLQ         $1, R10
	MOVQ         x+16(FP), SI
	MOVQ         n+24(FP), R11
	MOVQ         cells+32(FP), R8
	MOVQ         bound+40(FP), R9
	VPBROADCASTQ first+48(FP), Y13
	VPSRLQ       $45, Y13, Y12
	VBROADCASTSD encodeOne<>(SB), Y14
	VPBROADCASTQ encodeLow<>(SB), Y15
	VXORPD       Y11, Y11, Y11

loop:
	// Hold to 0..1; NaN becomes 0, for the second source is taken then.
	VMOVUPD (SI), Y0
	VMAXPD  Y11, Y0, Y0
	VMINPD  Y14, Y0, Y0

	// The cells, and the low bits as float32.
	VMAXPD       Y13, Y0, Y1
	VPSRLQ       $45, Y1, Y2
	VPSUBQ       Y12, Y2, Y2
	VPSRLQ       $22, Y1, Y3
	VPAND        Y15, Y3, Y3
	VEXTRACTI128 $1, Y3, X4
	VSHUFPS      $0x88, X4, X3, X3
	VCVTDQ2PS    X3, X3
	VEXTRACTI128 $1, Y2, X4
	VMOVQ        X2, AX
	VPEXTRQ      $1, X2, BX
	VMOVQ        X4, CX
	VPEXTRQ      $1, X4, DX

	// at + slope low, truncated.
	VMOVSD     (R8)(AX*8), X5
	VMOVHPS    (R8)(BX*8), X5, X5
	VMOVSD     (R8)(CX*8), X6
	VMOVHPS    (R8)(DX*8), X6, X6
	VSHUFPS    $0x88, X6, X5, X7
	VSHUFPS    $0xdd, X6, X5, X8
	VMULPS     X3, X8, X8
	VADDPS     X8, X7, X7
	VCVTTPS2DQ X7, X7

	// One more where the next code's light isn't above this.
	VMOVD        X7, AX
	VPEXTRD      $1, X7, BX
	VPEXTRD      $2, X7, CX
	VPEXTRD      $3, X7, DX
	VMOVSD       8(R9)(AX*8), X5
	VMOVHPD      8(R9)(BX*8), X5, X5
	VMOVSD       8(R9)(CX*8), X6
	VMOVHPD      8(R9)(DX*8), X6, X6
	VINSERTF128  $1, X6, Y5, Y5
	VCMPPD       $2, Y0, Y5, Y5
	VEXTRACTF128 $1, Y5, X6
	VSHUFPS      $0x88, X6, X5, X5
	VPSUBD       X5, X7, X7

	VPEXTRW $0, X7, (DI)
	ADDQ    R10, DI
	VPEXTRW $2, X7, (DI)
	ADDQ    R10, DI
	VPEXTRW $4, X7, (DI)
	ADDQ    R10, DI
	VPEXTRW $6, X7, (DI)
	ADDQ    R10, DI
	ADDQ    $32, SI
	SUBQ    $4, R11
	JGT     loop
	VZEROUPPER
	RET
