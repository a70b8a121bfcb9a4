//go:build amd64 && !plain

#include "textflag.h"

// Eight for AVX2, 16 pixels at a time: whole numbers, as in the plain form.
//
// Registers of both functions: DI results, SI samples, BX pixels left, a
// multiple of 16; Y15 splitmix64's states of the next 16 pixels, four to each;
// Y14 what they grow by; Y13 and Y12 lower and upper half of the first factor,
// Y11 and Y10 of the second; Y9 257 in each lane; Y0 the noise, a lane of 16
// bits for each pixel; Y1 to Y3 samples, Y4 and Y5 what passes.

// BROADCAST puts a 64-bit constant into each lane.
#define BROADCAST(number, x, y) \
	MOVQ         $number, AX \
	MOVQ         AX, x       \
	VPBROADCASTQ x, y

// START loads all of them; first is the number of the first four pixels' state.
#define START(first) \
	MOVQ    first, CX                               \
	VMOVDQU ·steps(SB), Y15                         \
	MOVQ    $0x9e3779b97f4a7c15, AX                 \
	IMULQ   AX, CX                                  \
	MOVQ    CX, X0                                  \
	VPBROADCASTQ X0, Y0                             \
	VPADDQ  Y0, Y15, Y15                            \
	BROADCAST(0x78dde6e5fd29f054, X14, Y14)         \
	BROADCAST(0x1ce4e5b9, X13, Y13)                 \
	BROADCAST(0xbf58476d, X12, Y12)                 \
	BROADCAST(0x133111eb, X11, Y11)                 \
	BROADCAST(0x94d049bb, X10, Y10)                 \
	BROADCAST(0x0101010101010101, X9, Y9)

// TIMES multiplies Y0 by a 64-bit number, given by halves.
#define TIMES(low, high) \
	VPSRLQ   $32, Y0, Y4   \
	VPMULUDQ low, Y4, Y4   \
	VPMULUDQ high, Y0, Y5  \
	VPADDQ   Y5, Y4, Y4    \
	VPSLLQ   $32, Y4, Y4   \
	VPMULUDQ low, Y0, Y0   \
	VPADDQ   Y4, Y0, Y0

// NOISE sets Y0 and moves the states on.
#define NOISE \
	VPSRLQ   $30, Y15, Y0  \
	VPXOR    Y15, Y0, Y0   \
	VPADDQ   Y14, Y15, Y15 \
	TIMES(Y13, Y12)        \
	VPSRLQ   $27, Y0, Y4   \
	VPXOR    Y4, Y0, Y0    \
	TIMES(Y11, Y10)        \
	VPSRLQ   $31, Y0, Y4   \
	VPXOR    Y4, Y0, Y0    \
	VPMULHUW Y9, Y0, Y0

// BY257 adds the noise in y to 16 samples and divides by 257. What passes
// 65535 is held there, which comes to the same code, 255.
#define BY257(samples, y) \
	VPADDUSW samples, y, y \
	VPSRLW   $8, y, Y4     \
	VPSUBW   Y4, y, y      \
	VPSRLW   $8, y, y

// func eight1AVX2(dst *byte, src *uint16, n int, first uint64)
TEXT ·eight1AVX2(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ n+16(FP), BX
	START(first+24(FP))

loop1:
	NOISE
	BY257((SI), Y0)
	VPACKUSWB Y0, Y0, Y0
	VPERMQ    $0x08, Y0, Y0
	VMOVDQU   X0, (DI)
	ADDQ      $32, SI
	ADDQ      $16, DI
	SUBQ      $16, BX
	JGT       loop1
	VZEROUPPER
	RET

// func eight3AVX2(dst *byte, src *uint16, n int, first uint64)
// Y6 to Y8: which pixel's noise each of 48 samples takes.
TEXT ·eight3AVX2(SB), NOSPLIT, $0-32
	MOVQ    dst+0(FP), DI
	MOVQ    src+8(FP), SI
	MOVQ    n+16(FP), BX
	START(first+24(FP))
	VMOVDQU ·thrice+0(SB), Y6
	VMOVDQU ·thrice+32(SB), Y7
	VMOVDQU ·thrice+64(SB), Y8

loop3:
	NOISE
	VPERMQ    $0x44, Y0, Y1
	VPERMQ    $0xee, Y0, Y3
	VPSHUFB   Y6, Y1, Y1
	VPSHUFB   Y7, Y0, Y2
	VPSHUFB   Y8, Y3, Y3
	BY257((SI), Y1)
	BY257(32(SI), Y2)
	BY257(64(SI), Y3)
	VPACKUSWB Y2, Y1, Y1
	VPACKUSWB Y3, Y3, Y3
	VPERMQ    $0xd8, Y1, Y1
	VPERMQ    $0x08, Y3, Y3
	VMOVDQU   Y1, (DI)
	VMOVDQU   X3, 32(DI)
	ADDQ      $96, SI
	ADDQ      $48, DI
	SUBQ      $16, BX
	JGT       loop3
	VZEROUPPER
	RET
