//go:build amd64 && !plain

#include "go_asm.h"
#include "textflag.h"

DATA encodeOne<>+0(SB)/8, $1.0
GLOBL encodeOne<>(SB), RODATA|NOPTR, $8
DATA encodeLow<>+0(SB)/4, $0x007fffff
GLOBL encodeLow<>(SB), RODATA|NOPTR, $4
DATA encodeShare<>+0(SB)/4, $65535
GLOBL encodeShare<>(SB), RODATA|NOPTR, $4
DATA encodeHalf<>+0(SB)/4, $32768
GLOBL encodeHalf<>(SB), RODATA|NOPTR, $4

// BOUNDS sets y to the bounds of four codes, whose places on the stack are a to d.
#define BOUNDS(a, b, c, d, x, y) \
	MOVL        a(SP), AX            \
	MOVL        b(SP), BX            \
	MOVL        c(SP), CX            \
	MOVL        d(SP), DX            \
	VMOVSD      (R9)(AX*8), x        \
	VMOVHPD     (R9)(BX*8), x, x     \
	VMOVSD      (R9)(CX*8), X4       \
	VMOVHPD     (R9)(DX*8), X4, X4   \
	VINSERTF128 $1, X4, y, y

// func encodeRowAVX2(dst *uint16, step int, x *float64, n int, cells *toneCell, bound *float64, first uint64)
// Tone.encode for a tone whose guesses are near, eight values at a time, in the order
// 0 1 4 5 2 3 6 7 once they are 32 bits wide: Y5 the low bits of their light, Y7 their
// guesses, Y2 the cells' bases, Y7 at last the codes, which AX (0 1 4 5) and BX (2 3 6 7)
// hold. at holds the cells' places, then codes.
TEXT ·encodeRowAVX2(SB), NOSPLIT, $32-56
	MOVQ         dst+0(FP), DI
	MOVQ         step+8(FP), R10
	SHLQ         $1, R10
	LEAQ         (R10)(R10*2), R12
	MOVQ         x+16(FP), SI
	MOVQ         n+24(FP), R11
	MOVQ         cells+32(FP), R8
	MOVQ         bound+40(FP), R9
	VPBROADCASTQ first+48(FP), Y13
	VBROADCASTSD encodeOne<>(SB), Y14
	VPBROADCASTD encodeLow<>(SB), Y15
	VPBROADCASTD encodeShare<>(SB), Y10

loop:
	// Hold to first..1; NaN becomes first, for the second source is taken then.
	VMOVUPD (SI), Y0
	VMOVUPD 32(SI), Y1
	VMAXPD  Y13, Y0, Y0
	VMAXPD  Y13, Y1, Y1
	VMINPD  Y14, Y0, Y0
	VMINPD  Y14, Y1, Y1

	// The cells, and the low bits as float32; first is a power of two.
	VPSUBQ    Y13, Y0, Y0
	VPSUBQ    Y13, Y1, Y1
	VSHUFPS   $0xdd, Y1, Y0, Y2
	VPSRLD    $(const_cellShift-32), Y2, Y2
	VPSLLD    $4, Y2, Y2
	VMOVDQU   Y2, at-32(SP)
	VPSRLQ    $(const_cellShift-23), Y0, Y0
	VPSRLQ    $(const_cellShift-23), Y1, Y1
	VSHUFPS   $0x88, Y1, Y0, Y5
	VPAND     Y15, Y5, Y5
	VCVTDQ2PS Y5, Y5
	MOVL      at-32(SP), AX
	MOVL      at-28(SP), BX
	MOVL      at-24(SP), CX
	MOVL      at-20(SP), DX
	VMOVUPS   (R8)(AX*1), X6
	VMOVUPS   (R8)(BX*1), X7
	VMOVUPS   (R8)(CX*1), X8
	VMOVUPS   (R8)(DX*1), X9
	MOVL      at-16(SP), AX
	MOVL      at-12(SP), BX
	MOVL      at-8(SP), CX
	MOVL      at-4(SP), DX
	VINSERTF128 $1, (R8)(AX*1), Y6, Y6
	VINSERTF128 $1, (R8)(BX*1), Y7, Y7
	VINSERTF128 $1, (R8)(CX*1), Y8, Y8
	VINSERTF128 $1, (R8)(DX*1), Y9, Y9

	// at + (slope + bend low) low, truncated.
	VUNPCKHPS  Y7, Y6, Y2
	VUNPCKLPS  Y7, Y6, Y6
	VUNPCKHPS  Y9, Y8, Y3
	VUNPCKLPS  Y9, Y8, Y8
	VUNPCKLPD  Y3, Y2, Y7
	VUNPCKHPD  Y3, Y2, Y2
	VUNPCKHPD  Y8, Y6, Y3
	VUNPCKLPD  Y8, Y6, Y6
	VMULPS     Y5, Y7, Y7
	VADDPS     Y7, Y3, Y7
	VMULPS     Y5, Y7, Y7
	VADDPS     Y7, Y6, Y7
	VCVTTPS2DQ Y7, Y7

	// Sure, where the share of a code is far enough from both ends.
	VPAND    Y10, Y7, Y4
	VPSRLD   $16, Y2, Y5
	VPAND    Y10, Y2, Y2
	VPCMPGTD Y4, Y5, Y6
	VPADDD   Y5, Y4, Y4
	VPCMPGTD Y10, Y4, Y4
	VPOR     Y4, Y6, Y6
	VPTEST   Y6, Y6
	JNE      unsure
	VPSRLD   $16, Y7, Y7
	VPADDD   Y2, Y7, Y7

store:
	VPACKUSDW    Y7, Y7, Y7
	VEXTRACTI128 $1, Y7, X6
	VMOVQ        X7, AX
	VMOVQ        X6, BX
	MOVW         AX, (DI)
	SHRQ         $16, AX
	MOVW         AX, (DI)(R10*1)
	MOVW         BX, (DI)(R10*2)
	SHRQ         $16, BX
	MOVW         BX, (DI)(R12*1)
	LEAQ         (DI)(R10*4), DI
	SHRQ         $16, AX
	MOVW         AX, (DI)
	SHRQ         $16, AX
	MOVW         AX, (DI)(R10*1)
	SHRQ         $16, BX
	MOVW         BX, (DI)(R10*2)
	SHRQ         $16, BX
	MOVW         BX, (DI)(R12*1)
	LEAQ         (DI)(R10*4), DI
	ADDQ         $64, SI
	SUBQ         $8, R11
	JGT          loop
	VZEROUPPER
	RET

unsure:
	// The nearest threshold's code, or one less where its light is above this, which
	// is held to 0..1.
	VPBROADCASTD encodeHalf<>(SB), Y4
	VPADDD       Y4, Y7, Y7
	VPSRLD       $16, Y7, Y7
	VPADDD       Y2, Y7, Y7
	VMOVDQU      Y7, at-32(SP)
	VXORPD       Y3, Y3, Y3
	VMOVUPD      (SI), Y0
	VMOVUPD      32(SI), Y1
	VMAXPD       Y3, Y0, Y0
	VMAXPD       Y3, Y1, Y1
	VMINPD       Y14, Y0, Y0
	VMINPD       Y14, Y1, Y1
	BOUNDS(at-32, at-28, at-16, at-12, X5, Y5)
	BOUNDS(at-24, at-20, at-8, at-4, X6, Y6)
	VCMPPD       $0x1e, Y0, Y5, Y5
	VCMPPD       $0x1e, Y1, Y6, Y6
	VSHUFPS      $0x88, Y6, Y5, Y5
	VPADDD       Y5, Y7, Y7
	JMP          store

// LIGHTS sets y to the light of channel c of four pixels, by the table t.
#define LIGHTS(c, t, x, y) \
	MOVWLZX     2*c+0(SI), AX        \
	MOVWLZX     2*c+6(SI), BX        \
	MOVWLZX     2*c+12(SI), CX       \
	MOVWLZX     2*c+18(SI), DX       \
	VMOVSD      (t)(AX*8), x         \
	VMOVHPD     (t)(BX*8), x, x      \
	VMOVSD      (t)(CX*8), X3        \
	VMOVHPD     (t)(DX*8), X3, X3    \
	VINSERTF128 $1, X3, y, y

// func decodeRowAVX2(red, green, blue *float64, tables *[3]*float64, src *uint16, n int)
// DecodeRow, four pixels at a time.
TEXT ·decodeRowAVX2(SB), NOSPLIT, $0-48
	MOVQ red+0(FP), R8
	MOVQ green+8(FP), R9
	MOVQ blue+16(FP), R10
	MOVQ tables+24(FP), AX
	MOVQ 0(AX), R11
	MOVQ 8(AX), R12
	MOVQ 16(AX), R13
	MOVQ src+32(FP), SI
	MOVQ n+40(FP), DI
	LEAQ (R8)(DI*8), R8
	LEAQ (R9)(DI*8), R9
	LEAQ (R10)(DI*8), R10
	NEGQ DI

loop:
	LIGHTS(0, R11, X0, Y0)
	LIGHTS(1, R12, X1, Y1)
	LIGHTS(2, R13, X2, Y2)
	VMOVUPD Y0, (R8)(DI*8)
	VMOVUPD Y1, (R9)(DI*8)
	VMOVUPD Y2, (R10)(DI*8)
	ADDQ    $24, SI
	ADDQ    $4, DI
	JLT     loop
	VZEROUPPER
	RET

// ROW sets out to green and, times a row of the matrix, what red and blue are more.
#define ROW(red, blue, out) \
	VMULPD  red, Y0, Y3  \
	VMULPD  blue, Y2, Y4 \
	VADDPD  Y4, Y3, Y3   \
	VADDPD  Y3, Y1, Y3   \
	VMOVUPD Y3, (out)(DI*8)

// func mixRowAVX2(red, green, blue *float64, m *[3][3]float64, n int)
// mixRow, four pixels at a time: Y5 to Y10 the matrix's columns of red and blue.
TEXT ·mixRowAVX2(SB), NOSPLIT, $0-40
	MOVQ         red+0(FP), R8
	MOVQ         green+8(FP), R9
	MOVQ         blue+16(FP), R10
	MOVQ         m+24(FP), AX
	MOVQ         n+32(FP), DI
	LEAQ         (R8)(DI*8), R8
	LEAQ         (R9)(DI*8), R9
	LEAQ         (R10)(DI*8), R10
	NEGQ         DI
	VBROADCASTSD 0(AX), Y5
	VBROADCASTSD 16(AX), Y6
	VBROADCASTSD 24(AX), Y7
	VBROADCASTSD 40(AX), Y8
	VBROADCASTSD 48(AX), Y9
	VBROADCASTSD 64(AX), Y10

loop:
	VMOVUPD (R8)(DI*8), Y0
	VMOVUPD (R9)(DI*8), Y1
	VMOVUPD (R10)(DI*8), Y2
	VSUBPD  Y1, Y0, Y0
	VSUBPD  Y1, Y2, Y2
	ROW(Y5, Y6, R8)
	ROW(Y7, Y8, R9)
	ROW(Y9, Y10, R10)
	ADDQ    $4, DI
	JLT     loop
	VZEROUPPER
	RET
