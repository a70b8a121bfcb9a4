//go:build amd64 && !plain

#include "go_asm.h"
#include "textflag.h"

DATA encodeOne<>+0(SB)/8, $1.0
GLOBL encodeOne<>(SB), RODATA|NOPTR, $8
DATA encodeLow<>+0(SB)/8, $0x00000000007fffff
GLOBL encodeLow<>(SB), RODATA|NOPTR, $8
DATA encodeShare<>+0(SB)/4, $65535
GLOBL encodeShare<>(SB), RODATA|NOPTR, $4
DATA encodeHalf<>+0(SB)/4, $32768
GLOBL encodeHalf<>(SB), RODATA|NOPTR, $4

// func encodeRowAVX2(dst *uint16, step int, x *float64, n int, cells *toneCell, bound *float64, first uint64)
// Tone.encode for a tone whose guesses are near, four values at a time: Y0 their
// light, X7 their guesses, X8 the cells' bases, X7 at last the codes.
TEXT ·encodeRowAVX2(SB), NOSPLIT, $0-56
	MOVQ         dst+0(FP), DI
	MOVQ         step+8(FP), R10
	SHLQ         $1, R10
	MOVQ         x+16(FP), SI
	MOVQ         n+24(FP), R11
	MOVQ         cells+32(FP), R8
	MOVQ         bound+40(FP), R9
	VPBROADCASTQ first+48(FP), Y13
	VPSRLQ       $const_cellShift, Y13, Y12
	VBROADCASTSD encodeOne<>(SB), Y14
	VPBROADCASTQ encodeLow<>(SB), Y15
	VPBROADCASTD encodeShare<>(SB), X10
	VXORPD       Y11, Y11, Y11

loop:
	// Hold to 0..1; NaN becomes 0, for the second source is taken then.
	VMOVUPD (SI), Y0
	VMAXPD  Y11, Y0, Y0
	VMINPD  Y14, Y0, Y0

	// The cells, and the low bits as float32.
	VMAXPD       Y13, Y0, Y1
	VPSRLQ       $const_cellShift, Y1, Y2
	VPSUBQ       Y12, Y2, Y2
	VPSLLQ       $4, Y2, Y2
	VPSRLQ       $(const_cellShift-23), Y1, Y3
	VPAND        Y15, Y3, Y3
	VEXTRACTI128 $1, Y3, X4
	VSHUFPS      $0x88, X4, X3, X3
	VCVTDQ2PS    X3, X3
	VEXTRACTI128 $1, Y2, X4
	VMOVQ        X2, AX
	VPEXTRQ      $1, X2, BX
	VMOVQ        X4, CX
	VPEXTRQ      $1, X4, DX

	// at + (slope + bend low) low, truncated.
	VMOVUPS    (R8)(AX*1), X4
	VMOVUPS    (R8)(BX*1), X5
	VMOVUPS    (R8)(CX*1), X6
	VMOVUPS    (R8)(DX*1), X7
	VUNPCKHPS  X5, X4, X8
	VUNPCKLPS  X5, X4, X4
	VUNPCKHPS  X7, X6, X9
	VUNPCKLPS  X7, X6, X6
	VUNPCKLPD  X9, X8, X7
	VUNPCKHPD  X9, X8, X8
	VUNPCKHPD  X6, X4, X5
	VUNPCKLPD  X6, X4, X4
	VMULPS     X3, X7, X7
	VADDPS     X7, X5, X7
	VMULPS     X3, X7, X7
	VADDPS     X7, X4, X7
	VCVTTPS2DQ X7, X7

	// Sure, where the share of a code is far enough from both ends.
	VPAND     X10, X7, X4
	VPSRLD    $16, X8, X5
	VPAND     X10, X8, X8
	VPCMPGTD  X4, X5, X6
	VPADDD    X5, X4, X4
	VPCMPGTD  X10, X4, X4
	VPOR      X4, X6, X6
	VMOVMSKPS X6, AX
	TESTL     AX, AX
	JNE       unsure
	VPSRLD    $16, X7, X7
	VPADDD    X8, X7, X7

store:
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

unsure:
	// The nearest threshold's code, or one less where its light is above this.
	VPBROADCASTD encodeHalf<>(SB), X4
	VPADDD       X4, X7, X7
	VPSRLD       $16, X7, X7
	VPADDD       X8, X7, X7
	VMOVD        X7, AX
	VPEXTRD      $1, X7, BX
	VPEXTRD      $2, X7, CX
	VPEXTRD      $3, X7, DX
	VMOVSD       (R9)(AX*8), X5
	VMOVHPD      (R9)(BX*8), X5, X5
	VMOVSD       (R9)(CX*8), X6
	VMOVHPD      (R9)(DX*8), X6, X6
	VINSERTF128  $1, X6, Y5, Y5
	VCMPPD       $0x1e, Y0, Y5, Y5
	VEXTRACTF128 $1, Y5, X6
	VSHUFPS      $0x88, X6, X5, X5
	VPADDD       X5, X7, X7
	JMP          store
