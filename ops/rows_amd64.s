//go:build amd64 && !plain

#include "textflag.h"

// The inner loops of rows.go for AVX2. They multiply, add, compare and
// convert lane by lane, each operation rounded on its own and in the order of
// the plain form; no fused and no horizontal operations. n is a multiple of 8
// (of 16 where samples are written).

DATA half<>+0(SB)/4, $0x3f000000
GLOBL half<>(SB), RODATA|NOPTR, $4
DATA full<>+0(SB)/4, $0x477fff00 // 65535
GLOBL full<>(SB), RODATA|NOPTR, $4

// Lanes of eight pixels' red, green and blue in three blended registers.
DATA pickR<>+0(SB)/8, $0x0000000300000000
DATA pickR<>+8(SB)/8, $0x0000000100000006
DATA pickR<>+16(SB)/8, $0x0000000700000004
DATA pickR<>+24(SB)/8, $0x0000000500000002
GLOBL pickR<>(SB), RODATA|NOPTR, $32
DATA pickG<>+0(SB)/8, $0x0000000400000001
DATA pickG<>+8(SB)/8, $0x0000000200000007
DATA pickG<>+16(SB)/8, $0x0000000000000005
DATA pickG<>+24(SB)/8, $0x0000000600000003
GLOBL pickG<>(SB), RODATA|NOPTR, $32
DATA pickB<>+0(SB)/8, $0x0000000500000002
DATA pickB<>+8(SB)/8, $0x0000000300000000
DATA pickB<>+16(SB)/8, $0x0000000100000006
DATA pickB<>+24(SB)/8, $0x0000000700000004
GLOBL pickB<>(SB), RODATA|NOPTR, $32

// Lanes that write each of eight values three times.
DATA triple0<>+0(SB)/8, $0x0000000000000000
DATA triple0<>+8(SB)/8, $0x0000000100000000
DATA triple0<>+16(SB)/8, $0x0000000100000001
DATA triple0<>+24(SB)/8, $0x0000000200000002
GLOBL triple0<>(SB), RODATA|NOPTR, $32
DATA triple1<>+0(SB)/8, $0x0000000300000002
DATA triple1<>+8(SB)/8, $0x0000000300000003
DATA triple1<>+16(SB)/8, $0x0000000400000004
DATA triple1<>+24(SB)/8, $0x0000000500000004
GLOBL triple1<>(SB), RODATA|NOPTR, $32
DATA triple2<>+0(SB)/8, $0x0000000500000005
DATA triple2<>+8(SB)/8, $0x0000000600000006
DATA triple2<>+16(SB)/8, $0x0000000700000006
DATA triple2<>+24(SB)/8, $0x0000000700000007
GLOBL triple2<>(SB), RODATA|NOPTR, $32

// CONSTS loads what ROUND needs.
#define CONSTS \
	VBROADCASTSS half<>(SB), Y12 \
	VXORPS       Y13, Y13, Y13   \
	VBROADCASTSS full<>(SB), Y14

// ROUND writes Y0, Y1 as 16 samples to (DI): add 1/2, hold to 0..65535 (NaN
// becomes 0, for the second source of VMAXPS is taken then), truncate.
#define ROUND \
	VADDPS     Y12, Y0, Y0 \
	VADDPS     Y12, Y1, Y1 \
	VMAXPS     Y13, Y0, Y0 \
	VMAXPS     Y13, Y1, Y1 \
	VMINPS     Y14, Y0, Y0 \
	VMINPS     Y14, Y1, Y1 \
	VCVTTPS2DQ Y0, Y0      \
	VCVTTPS2DQ Y1, Y1      \
	VPACKUSDW  Y1, Y0, Y0  \
	VPERMQ     $0xd8, Y0, Y0 \
	VMOVDQU    Y0, (DI)

// func floatRowAVX2(dst *float32, src *uint16, n int)
TEXT ·floatRowAVX2(SB), NOSPLIT, $0-24
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ n+16(FP), BX

loop:
	VPMOVZXWD (SI), Y0
	VCVTDQ2PS Y0, Y0
	VMOVUPS   Y0, (DI)
	ADDQ      $16, SI
	ADDQ      $32, DI
	SUBQ      $8, BX
	JGT       loop
	VZEROUPPER
	RET

// func roundRowAVX2(dst *uint16, src *float32, n int)
TEXT ·roundRowAVX2(SB), NOSPLIT, $0-24
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ n+16(FP), BX
	CONSTS

loop:
	VMOVUPS (SI), Y0
	VMOVUPS 32(SI), Y1
	ROUND
	ADDQ    $64, SI
	ADDQ    $32, DI
	SUBQ    $16, BX
	JGT     loop
	VZEROUPPER
	RET

// func sumRowsAVX2(dst *float32, rows *[]float32, from int, w *float32, taps int, n int)
// SI, R10: headers of the first and last row; DX, R11: their weights;
// AX, R9, CX, R15 run from there towards the middle; R8: offset in bytes.
TEXT ·sumRowsAVX2(SB), NOSPLIT, $0-48
	MOVQ dst+0(FP), DI
	MOVQ rows+8(FP), SI
	MOVQ from+16(FP), R8
	SHLQ $2, R8
	MOVQ w+24(FP), DX
	MOVQ taps+32(FP), CX
	MOVQ n+40(FP), BX
	LEAQ -1(CX), R9
	LEAQ (R9)(R9*2), R10
	LEAQ (SI)(R10*8), R10
	LEAQ (DX)(R9*4), R11

loop32:
	CMPQ         BX, $32
	JLT          loop8
	MOVQ         (SI), R12
	ADDQ         R8, R12
	VBROADCASTSS (DX), Y8
	VMULPS       (R12), Y8, Y0
	VMULPS       32(R12), Y8, Y1
	VMULPS       64(R12), Y8, Y2
	VMULPS       96(R12), Y8, Y3
	CMPQ         SI, R10
	JEQ          done32
	MOVQ         (R10), R13
	ADDQ         R8, R13
	VBROADCASTSS (R11), Y9
	VMULPS       (R13), Y9, Y4
	VMULPS       32(R13), Y9, Y5
	VMULPS       64(R13), Y9, Y6
	VMULPS       96(R13), Y9, Y7
	VADDPS       Y4, Y0, Y0
	VADDPS       Y5, Y1, Y1
	VADDPS       Y6, Y2, Y2
	VADDPS       Y7, Y3, Y3
	LEAQ         24(SI), AX
	LEAQ         -24(R10), R9
	LEAQ         4(DX), CX
	LEAQ         -4(R11), R15

pair32:
	CMPQ         AX, R9
	JHI          done32
	MOVQ         (AX), R12
	ADDQ         R8, R12
	VBROADCASTSS (CX), Y8
	VMULPS       (R12), Y8, Y4
	VMULPS       32(R12), Y8, Y5
	VMULPS       64(R12), Y8, Y6
	VMULPS       96(R12), Y8, Y7
	CMPQ         AX, R9
	JEQ          mid32
	MOVQ         (R9), R13
	ADDQ         R8, R13
	VBROADCASTSS (R15), Y9
	VMULPS       (R13), Y9, Y10
	VMULPS       32(R13), Y9, Y11
	VMULPS       64(R13), Y9, Y12
	VMULPS       96(R13), Y9, Y13
	VADDPS       Y10, Y4, Y4
	VADDPS       Y11, Y5, Y5
	VADDPS       Y12, Y6, Y6
	VADDPS       Y13, Y7, Y7

mid32:
	VADDPS Y4, Y0, Y0
	VADDPS Y5, Y1, Y1
	VADDPS Y6, Y2, Y2
	VADDPS Y7, Y3, Y3
	ADDQ   $24, AX
	SUBQ   $24, R9
	ADDQ   $4, CX
	SUBQ   $4, R15
	JMP    pair32

done32:
	VMOVUPS Y0, (DI)
	VMOVUPS Y1, 32(DI)
	VMOVUPS Y2, 64(DI)
	VMOVUPS Y3, 96(DI)
	ADDQ    $128, DI
	ADDQ    $128, R8
	SUBQ    $32, BX
	JMP     loop32

loop8:
	CMPQ         BX, $8
	JLT          end
	MOVQ         (SI), R12
	VBROADCASTSS (DX), Y8
	VMULPS       (R12)(R8*1), Y8, Y0
	CMPQ         SI, R10
	JEQ          done8
	MOVQ         (R10), R13
	VBROADCASTSS (R11), Y9
	VMULPS       (R13)(R8*1), Y9, Y4
	VADDPS       Y4, Y0, Y0
	LEAQ         24(SI), AX
	LEAQ         -24(R10), R9
	LEAQ         4(DX), CX
	LEAQ         -4(R11), R15

pair8:
	CMPQ         AX, R9
	JHI          done8
	MOVQ         (AX), R12
	VBROADCASTSS (CX), Y8
	VMULPS       (R12)(R8*1), Y8, Y4
	CMPQ         AX, R9
	JEQ          mid8
	MOVQ         (R9), R13
	VBROADCASTSS (R15), Y9
	VMULPS       (R13)(R8*1), Y9, Y10
	VADDPS       Y10, Y4, Y4

mid8:
	VADDPS Y4, Y0, Y0
	ADDQ   $24, AX
	SUBQ   $24, R9
	ADDQ   $4, CX
	SUBQ   $4, R15
	JMP    pair8

done8:
	VMOVUPS Y0, (DI)
	ADDQ    $32, DI
	ADDQ    $32, R8
	SUBQ    $8, BX
	JMP     loop8

end:
	VZEROUPPER
	RET

// func symRowsAVX2(dst *float32, rows *[]float32, from int, w *float32, reach int, n int)
// Registers as in sumRowsAVX2, but one weight serves both rows of a pair.
TEXT ·symRowsAVX2(SB), NOSPLIT, $0-48
	MOVQ dst+0(FP), DI
	MOVQ rows+8(FP), SI
	MOVQ from+16(FP), R8
	SHLQ $2, R8
	MOVQ w+24(FP), DX
	MOVQ reach+32(FP), CX
	MOVQ n+40(FP), BX
	LEAQ (CX)(CX*2), R10
	SHLQ $1, R10
	LEAQ (SI)(R10*8), R10

sloop32:
	CMPQ         BX, $32
	JLT          sloop8
	MOVQ         (SI), R12
	ADDQ         R8, R12
	MOVQ         (R10), R13
	ADDQ         R8, R13
	VBROADCASTSS (DX), Y8
	VMOVUPS      (R12), Y0
	VMOVUPS      32(R12), Y1
	VMOVUPS      64(R12), Y2
	VMOVUPS      96(R12), Y3
	VADDPS       (R13), Y0, Y0
	VADDPS       32(R13), Y1, Y1
	VADDPS       64(R13), Y2, Y2
	VADDPS       96(R13), Y3, Y3
	VMULPS       Y8, Y0, Y0
	VMULPS       Y8, Y1, Y1
	VMULPS       Y8, Y2, Y2
	VMULPS       Y8, Y3, Y3
	LEAQ         24(SI), AX
	LEAQ         -24(R10), R9
	LEAQ         4(DX), CX

spair32:
	MOVQ         (AX), R12
	ADDQ         R8, R12
	VBROADCASTSS (CX), Y8
	VMOVUPS      (R12), Y4
	VMOVUPS      32(R12), Y5
	VMOVUPS      64(R12), Y6
	VMOVUPS      96(R12), Y7
	CMPQ         AX, R9
	JEQ          smid32
	MOVQ         (R9), R13
	ADDQ         R8, R13
	VADDPS       (R13), Y4, Y4
	VADDPS       32(R13), Y5, Y5
	VADDPS       64(R13), Y6, Y6
	VADDPS       96(R13), Y7, Y7
	VMULPS       Y8, Y4, Y4
	VMULPS       Y8, Y5, Y5
	VMULPS       Y8, Y6, Y6
	VMULPS       Y8, Y7, Y7
	VADDPS       Y4, Y0, Y0
	VADDPS       Y5, Y1, Y1
	VADDPS       Y6, Y2, Y2
	VADDPS       Y7, Y3, Y3
	ADDQ         $24, AX
	SUBQ         $24, R9
	ADDQ         $4, CX
	JMP          spair32

smid32:
	VMULPS  Y8, Y4, Y4
	VMULPS  Y8, Y5, Y5
	VMULPS  Y8, Y6, Y6
	VMULPS  Y8, Y7, Y7
	VADDPS  Y4, Y0, Y0
	VADDPS  Y5, Y1, Y1
	VADDPS  Y6, Y2, Y2
	VADDPS  Y7, Y3, Y3
	VMOVUPS Y0, (DI)
	VMOVUPS Y1, 32(DI)
	VMOVUPS Y2, 64(DI)
	VMOVUPS Y3, 96(DI)
	ADDQ    $128, DI
	ADDQ    $128, R8
	SUBQ    $32, BX
	JMP     sloop32

sloop8:
	CMPQ         BX, $8
	JLT          send
	MOVQ         (SI), R12
	MOVQ         (R10), R13
	VBROADCASTSS (DX), Y8
	VMOVUPS      (R12)(R8*1), Y0
	VADDPS       (R13)(R8*1), Y0, Y0
	VMULPS       Y8, Y0, Y0
	LEAQ         24(SI), AX
	LEAQ         -24(R10), R9
	LEAQ         4(DX), CX

spair8:
	MOVQ         (AX), R12
	VBROADCASTSS (CX), Y8
	VMOVUPS      (R12)(R8*1), Y4
	CMPQ         AX, R9
	JEQ          smid8
	MOVQ         (R9), R13
	VADDPS       (R13)(R8*1), Y4, Y4
	VMULPS       Y8, Y4, Y4
	VADDPS       Y4, Y0, Y0
	ADDQ         $24, AX
	SUBQ         $24, R9
	ADDQ         $4, CX
	JMP          spair8

smid8:
	VMULPS  Y8, Y4, Y4
	VADDPS  Y4, Y0, Y0
	VMOVUPS Y0, (DI)
	ADDQ    $32, DI
	ADDQ    $32, R8
	SUBQ    $8, BX
	JMP     sloop8

send:
	VZEROUPPER
	RET

// func across3AVX2(dst, src *float32, start, off, count *int32, w *float32, n int)
// One pixel at a time in the lower three lanes; the fourth carries along a
// neighbour's value and is overwritten by the next pixel.
TEXT ·across3AVX2(SB), NOSPLIT, $0-56
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ start+16(FP), R8
	MOVQ off+24(FP), R9
	MOVQ count+32(FP), R10
	MOVQ w+40(FP), DX
	MOVQ n+48(FP), BX
	XORQ AX, AX

pixel:
	MOVLQSX      (R8)(AX*4), R12
	LEAQ         (R12)(R12*2), R12
	LEAQ         (SI)(R12*4), R12
	MOVLQSX      (R9)(AX*4), R11
	LEAQ         (DX)(R11*4), R11
	MOVLQSX      (R10)(AX*4), CX
	VBROADCASTSS (R11), X8
	VMULPS       (R12), X8, X0
	DECQ         CX
	JEQ          store
	LEAQ         (R11)(CX*4), R15
	LEAQ         (CX)(CX*2), CX
	LEAQ         (R12)(CX*4), R13
	VBROADCASTSS (R15), X9
	VMULPS       (R13), X9, X4
	VADDPS       X4, X0, X0

apair:
	ADDQ         $12, R12
	SUBQ         $12, R13
	CMPQ         R12, R13
	JHI          store
	LEAQ         4(R11), R11
	VBROADCASTSS (R11), X8
	VMULPS       (R12), X8, X4
	JEQ          amid
	SUBQ         $4, R15
	VBROADCASTSS (R15), X9
	VMULPS       (R13), X9, X5
	VADDPS       X5, X4, X4
	VADDPS       X4, X0, X0
	JMP          apair

amid:
	VADDPS X4, X0, X0

store:
	VMOVUPS X0, (DI)
	ADDQ    $12, DI
	INCQ    AX
	CMPQ    AX, BX
	JLT     pixel
	VZEROUPPER
	RET

// func lumaRowAVX2(dst *float32, src *uint16, w *float32, n int)
TEXT ·lumaRowAVX2(SB), NOSPLIT, $0-32
	MOVQ         dst+0(FP), DI
	MOVQ         src+8(FP), SI
	MOVQ         w+16(FP), DX
	MOVQ         n+24(FP), BX
	VBROADCASTSS (DX), Y9
	VBROADCASTSS 4(DX), Y10
	VBROADCASTSS 8(DX), Y11
	VMOVDQU      pickR<>(SB), Y12
	VMOVDQU      pickG<>(SB), Y13
	VMOVDQU      pickB<>(SB), Y14

loop:
	VPMOVZXWD (SI), Y0
	VPMOVZXWD 16(SI), Y1
	VPMOVZXWD 32(SI), Y2
	VCVTDQ2PS Y0, Y0
	VCVTDQ2PS Y1, Y1
	VCVTDQ2PS Y2, Y2
	VBLENDPS  $0x92, Y1, Y0, Y3
	VBLENDPS  $0x24, Y2, Y3, Y3
	VPERMPS   Y3, Y12, Y3
	VBLENDPS  $0x24, Y1, Y0, Y4
	VBLENDPS  $0x49, Y2, Y4, Y4
	VPERMPS   Y4, Y13, Y4
	VBLENDPS  $0x49, Y1, Y0, Y5
	VBLENDPS  $0x92, Y2, Y5, Y5
	VPERMPS   Y5, Y14, Y5
	VMULPS    Y9, Y3, Y3
	VMULPS    Y10, Y4, Y4
	VMULPS    Y11, Y5, Y5
	VADDPS    Y4, Y3, Y3
	VADDPS    Y5, Y3, Y3
	VMOVUPS   Y3, (DI)
	ADDQ      $48, SI
	ADDQ      $32, DI
	SUBQ      $8, BX
	JGT       loop
	VZEROUPPER
	RET

// func tripleRowAVX2(dst, src *float32, n int)
TEXT ·tripleRowAVX2(SB), NOSPLIT, $0-24
	MOVQ    dst+0(FP), DI
	MOVQ    src+8(FP), SI
	MOVQ    n+16(FP), BX
	VMOVDQU triple0<>(SB), Y12
	VMOVDQU triple1<>(SB), Y13
	VMOVDQU triple2<>(SB), Y14

loop:
	VMOVUPS (SI), Y0
	VPERMPS Y0, Y12, Y1
	VPERMPS Y0, Y13, Y2
	VPERMPS Y0, Y14, Y3
	VMOVUPS Y1, (DI)
	VMOVUPS Y2, 32(DI)
	VMOVUPS Y3, 64(DI)
	ADDQ    $32, SI
	ADDQ    $96, DI
	SUBQ    $8, BX
	JGT     loop
	VZEROUPPER
	RET

// func mostRowAVX2(dst *float32, src *uint16, n int)
TEXT ·mostRowAVX2(SB), NOSPLIT, $0-24
	MOVQ    dst+0(FP), DI
	MOVQ    src+8(FP), SI
	MOVQ    n+16(FP), BX
	VMOVDQU pickR<>(SB), Y12
	VMOVDQU pickG<>(SB), Y13
	VMOVDQU pickB<>(SB), Y14

loop:
	VPMOVZXWD (SI), Y0
	VPMOVZXWD 16(SI), Y1
	VPMOVZXWD 32(SI), Y2
	VCVTDQ2PS Y0, Y0
	VCVTDQ2PS Y1, Y1
	VCVTDQ2PS Y2, Y2
	VBLENDPS  $0x92, Y1, Y0, Y3
	VBLENDPS  $0x24, Y2, Y3, Y3
	VPERMPS   Y3, Y12, Y3
	VBLENDPS  $0x24, Y1, Y0, Y4
	VBLENDPS  $0x49, Y2, Y4, Y4
	VPERMPS   Y4, Y13, Y4
	VBLENDPS  $0x49, Y1, Y0, Y5
	VBLENDPS  $0x92, Y2, Y5, Y5
	VPERMPS   Y5, Y14, Y5
	VMAXPS    Y4, Y3, Y3
	VMAXPS    Y5, Y3, Y3
	VMOVUPS   Y3, (DI)
	ADDQ      $48, SI
	ADDQ      $32, DI
	SUBQ      $8, BX
	JGT       loop
	VZEROUPPER
	RET

// func scaleRowAVX2(dst, src *uint16, s *float32, n int)
TEXT ·scaleRowAVX2(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ s+16(FP), DX
	MOVQ n+24(FP), BX
	CONSTS

loop:
	VPMOVZXWD (SI), Y0
	VPMOVZXWD 16(SI), Y1
	VCVTDQ2PS Y0, Y0
	VCVTDQ2PS Y1, Y1
	VMULPS    (DX), Y0, Y2
	VMULPS    32(DX), Y1, Y3
	VADDPS    Y2, Y0, Y0
	VADDPS    Y3, Y1, Y1
	ROUND
	ADDQ      $32, SI
	ADDQ      $64, DX
	ADDQ      $32, DI
	SUBQ      $16, BX
	JGT       loop
	VZEROUPPER
	RET

// func mixRowAVX2(dst, over, top *uint16, p *float32, n int)
TEXT ·mixRowAVX2(SB), NOSPLIT, $0-40
	MOVQ dst+0(FP), DI
	MOVQ over+8(FP), SI
	MOVQ top+16(FP), CX
	MOVQ p+24(FP), DX
	MOVQ n+32(FP), BX
	CONSTS

loop:
	VPMOVZXWD (SI), Y0
	VPMOVZXWD 16(SI), Y1
	VPMOVZXWD (CX), Y2
	VPMOVZXWD 16(CX), Y3
	VCVTDQ2PS Y0, Y0
	VCVTDQ2PS Y1, Y1
	VCVTDQ2PS Y2, Y2
	VCVTDQ2PS Y3, Y3
	VSUBPS    Y0, Y2, Y2
	VSUBPS    Y1, Y3, Y3
	VMULPS    (DX), Y2, Y2
	VMULPS    32(DX), Y3, Y3
	VADDPS    Y2, Y0, Y0
	VADDPS    Y3, Y1, Y1
	ROUND
	ADDQ      $32, SI
	ADDQ      $32, CX
	ADDQ      $64, DX
	ADDQ      $32, DI
	SUBQ      $16, BX
	JGT       loop
	VZEROUPPER
	RET

// func dampRowAVX2(e, y, blur, left, right, up, down *float32, noise4 float32, n int)
TEXT ·dampRowAVX2(SB), NOSPLIT, $0-72
	MOVQ         e+0(FP), DI
	MOVQ         y+8(FP), SI
	MOVQ         blur+16(FP), DX
	MOVQ         left+24(FP), R8
	MOVQ         right+32(FP), R9
	MOVQ         up+40(FP), R10
	MOVQ         down+48(FP), R11
	VBROADCASTSS noise4+56(FP), Y13
	MOVQ         n+64(FP), BX
	VBROADCASTSS half<>(SB), Y12
	XORQ         CX, CX

loop:
	VMOVUPS (SI)(CX*1), Y0
	VSUBPS  (DX)(CX*1), Y0, Y0
	VMOVUPS (R9)(CX*1), Y1
	VSUBPS  (R8)(CX*1), Y1, Y1
	VMOVUPS (R11)(CX*1), Y2
	VSUBPS  (R10)(CX*1), Y2, Y2
	VMULPS  Y1, Y1, Y1
	VMULPS  Y2, Y2, Y2
	VADDPS  Y2, Y1, Y1
	VMULPS  Y12, Y1, Y1
	VMULPS  Y0, Y0, Y3
	VADDPS  Y1, Y3, Y3
	VMULPS  Y3, Y3, Y3
	VADDPS  Y13, Y3, Y4
	VDIVPS  Y4, Y3, Y3
	VMULPS  Y3, Y0, Y0
	VMOVUPS Y0, (DI)(CX*1)
	ADDQ    $32, CX
	SUBQ    $8, BX
	JGT     loop
	VZEROUPPER
	RET

// func kneeRowAVX2(e, y, most, limits *float32, n int)
// limits: amount, half, 1/1024, 1, -0
TEXT ·kneeRowAVX2(SB), NOSPLIT, $0-40
	MOVQ         e+0(FP), DI
	MOVQ         y+8(FP), SI
	MOVQ         most+16(FP), R8
	MOVQ         limits+24(FP), DX
	MOVQ         n+32(FP), BX
	VBROADCASTSS (DX), Y8
	VBROADCASTSS 4(DX), Y9
	VBROADCASTSS 8(DX), Y10
	VBROADCASTSS 12(DX), Y11
	VBROADCASTSS 16(DX), Y15
	CONSTS

loop:
	VMULPS    (DI), Y8, Y0
	VMOVUPS   (SI), Y1
	VMOVUPS   (R8), Y2
	VSUBPS    Y2, Y14, Y3
	VMULPS    Y3, Y1, Y3
	VMAXPS    Y11, Y2, Y4
	VDIVPS    Y4, Y3, Y3
	VBLENDVPS Y0, Y1, Y3, Y3 // the room to black where x is below 0
	VMULPS    Y12, Y3, Y3
	VMINPS    Y9, Y3, Y3
	VMAXPS    Y10, Y3, Y3    // h
	VANDNPS   Y0, Y15, Y4    // a = |x|
	VANDPS    Y15, Y0, Y5    // its sign
	VSUBPS    Y3, Y4, Y6
	VMAXPS    Y13, Y6, Y6    // u
	VMINPS    Y3, Y4, Y4
	VMULPS    Y3, Y6, Y7
	VADDPS    Y3, Y6, Y6
	VDIVPS    Y6, Y7, Y7
	VADDPS    Y7, Y4, Y4
	VMAXPS    Y11, Y1, Y1
	VDIVPS    Y1, Y4, Y4
	VORPS     Y5, Y4, Y4
	VMOVUPS   Y4, (DI)
	ADDQ      $32, SI
	ADDQ      $32, R8
	ADDQ      $32, DI
	SUBQ      $8, BX
	JGT       loop
	VZEROUPPER
	RET

// func mulRowAVX2(dst, a, b *float32, n int)
TEXT ·mulRowAVX2(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ a+8(FP), SI
	MOVQ b+16(FP), DX
	MOVQ n+24(FP), BX

loop:
	VMOVUPS (SI), Y0
	VMULPS  (DX), Y0, Y0
	VMOVUPS Y0, (DI)
	ADDQ    $32, SI
	ADDQ    $32, DX
	ADDQ    $32, DI
	SUBQ    $8, BX
	JGT     loop
	VZEROUPPER
	RET

// func addMulRowAVX2(dst, a, b *float32, n int)
TEXT ·addMulRowAVX2(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ a+8(FP), SI
	MOVQ b+16(FP), DX
	MOVQ n+24(FP), BX

loop:
	VMOVUPS (SI), Y0
	VMULPS  (DX), Y0, Y0
	VADDPS  (DI), Y0, Y0
	VMOVUPS Y0, (DI)
	ADDQ    $32, SI
	ADDQ    $32, DX
	ADDQ    $32, DI
	SUBQ    $8, BX
	JGT     loop
	VZEROUPPER
	RET

// func shareRowAVX2(dst, part, of *float32, n int)
TEXT ·shareRowAVX2(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ part+8(FP), SI
	MOVQ of+16(FP), DX
	MOVQ n+24(FP), BX

loop:
	VMOVUPS (SI), Y0
	VMAXPS  (DX), Y0, Y1
	VDIVPS  Y1, Y0, Y0
	VMOVUPS Y0, (DI)
	ADDQ    $32, SI
	ADDQ    $32, DX
	ADDQ    $32, DI
	SUBQ    $8, BX
	JGT     loop
	VZEROUPPER
	RET

// func lowRowAVX2(dst, a, b *float32, n int)
TEXT ·lowRowAVX2(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ a+8(FP), SI
	MOVQ b+16(FP), DX
	MOVQ n+24(FP), BX

loop:
	VMOVUPS (SI), Y0
	VMINPS  (DX), Y0, Y0
	VMOVUPS Y0, (DI)
	ADDQ    $32, SI
	ADDQ    $32, DX
	ADDQ    $32, DI
	SUBQ    $8, BX
	JGT     loop
	VZEROUPPER
	RET

// func highRowAVX2(dst, a, b *float32, n int)
TEXT ·highRowAVX2(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ a+8(FP), SI
	MOVQ b+16(FP), DX
	MOVQ n+24(FP), BX

loop:
	VMOVUPS (SI), Y0
	VMAXPS  (DX), Y0, Y0
	VMOVUPS Y0, (DI)
	ADDQ    $32, SI
	ADDQ    $32, DX
	ADDQ    $32, DI
	SUBQ    $8, BX
	JGT     loop
	VZEROUPPER
	RET
