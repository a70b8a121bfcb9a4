//go:build amd64 && !plain

#include "textflag.h"

// The inner loops of rows.go for AVX2. They multiply, add, compare and
// convert lane by lane, each operation rounded on its own and in the order of
// the plain form; no fused and no horizontal operations.
//
// Rows come as slices, and the length of one says how many places or pixels
// there are: not 0, and a multiple of 8 (of 16 where samples are written), but
// for the sums. Registers, where a function doesn't say otherwise:
//
//	DI              the row that is written
//	SI, DX, R8 …    the rows that are read, in the order of the arguments
//	BX              how many places there are
//	CX              the place that the loop has come to
//	Y8 … Y15        what doesn't change in the loop

DATA half<>+0(SB)/4, $0x3f000000
GLOBL half<>(SB), RODATA|NOPTR, $4
DATA full<>+0(SB)/4, $0x477fff00 // 65535
GLOBL full<>(SB), RODATA|NOPTR, $4
DATA least<>+0(SB)/4, $0x3a800000 // 1/1024
GLOBL least<>(SB), RODATA|NOPTR, $4
DATA one<>+0(SB)/4, $0x3f800000
GLOBL one<>(SB), RODATA|NOPTR, $4

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

// NEXT goes on by n places, and back to the loop while there are more.
#define NEXT(n) \
	ADDQ $n, CX  \
	CMPQ CX, BX  \
	JLT  loop    \
	VZEROUPPER   \
	RET

// FLOATS makes y the eight samples of a row from place CX+more/2 on.
#define FLOATS(row, more, y) \
	VPMOVZXWD more(row)(CX*2), y \
	VCVTDQ2PS y, y

// BOUNDS loads what ROUND needs.
#define BOUNDS \
	VBROADCASTSS half<>(SB), Y12 \
	VXORPS       Y13, Y13, Y13   \
	VBROADCASTSS full<>(SB), Y14

// ROUND writes Y0, Y1 as 16 samples: add 1/2, hold to 0..65535 (NaN becomes 0,
// for the second source of VMAXPS is taken then), truncate.
#define ROUND \
	VADDPS     Y12, Y0, Y0   \
	VADDPS     Y12, Y1, Y1   \
	VMAXPS     Y13, Y0, Y0   \
	VMAXPS     Y13, Y1, Y1   \
	VMINPS     Y14, Y0, Y0   \
	VMINPS     Y14, Y1, Y1   \
	VCVTTPS2DQ Y0, Y0        \
	VCVTTPS2DQ Y1, Y1        \
	VPACKUSDW  Y1, Y0, Y0    \
	VPERMQ     $0xd8, Y0, Y0 \
	VMOVDQU    Y0, (DI)(CX*2)

// PICKS loads what PIXELS needs.
#define PICKS \
	VMOVDQU pickR<>(SB), Y12 \
	VMOVDQU pickG<>(SB), Y13 \
	VMOVDQU pickB<>(SB), Y14

// PIXELS makes Y3, Y4 and Y5 the red, green and blue of eight pixels at SI, and
// moves SI on.
#define PIXELS \
	VPMOVZXWD (SI), Y0           \
	VPMOVZXWD 16(SI), Y1         \
	VPMOVZXWD 32(SI), Y2         \
	ADDQ      $48, SI            \
	VCVTDQ2PS Y0, Y0             \
	VCVTDQ2PS Y1, Y1             \
	VCVTDQ2PS Y2, Y2             \
	VBLENDPS  $0x92, Y1, Y0, Y3  \
	VBLENDPS  $0x24, Y2, Y3, Y3  \
	VPERMPS   Y3, Y12, Y3        \
	VBLENDPS  $0x24, Y1, Y0, Y4  \
	VBLENDPS  $0x49, Y2, Y4, Y4  \
	VPERMPS   Y4, Y13, Y4        \
	VBLENDPS  $0x49, Y1, Y0, Y5  \
	VBLENDPS  $0x92, Y2, Y5, Y5  \
	VPERMPS   Y5, Y14, Y5

// OF2 begins a function of two rows.
#define OF2 \
	MOVQ dst_base+0(FP), DI \
	MOVQ dst_len+8(FP), BX  \
	MOVQ a_base+24(FP), SI  \
	MOVQ b_base+48(FP), DX  \
	XORQ CX, CX

// The sums of rows go by 32 places, in Y0 to Y3. Where fewer are left, the last
// 32 are made again: so many there are at least, and dst is none of the rows.
//
//	BX        places that are left
//	DI, R8    where the block is written; how many bytes it is on in each row
//	SI, R10   the headers of the first and of the last row
//	DX, R11   their weights
//	AX, R9    the headers that go from there towards the middle
//	CX, R15   the weights that do
//	R12, R13  the rows of these headers
//	Y4 … Y14  what two rows, or the one in the middle, add
//	Y15       -0, to which anything is added as it is

// SUMS loads what stays, for the first block.
#define SUMS \
	MOVQ     dst_base+0(FP), DI   \
	MOVQ     dst_len+8(FP), BX    \
	MOVQ     rows_base+24(FP), SI \
	MOVQ     rows_len+32(FP), R10 \
	MOVQ     from+48(FP), R8      \
	MOVQ     w_base+56(FP), DX    \
	MOVQ     w_len+64(FP), R11    \
	SHLQ     $2, R8               \
	LEAQ     (R10)(R10*2), R10    \
	LEAQ     -24(SI)(R10*8), R10  \
	LEAQ     -4(DX)(R11*4), R11   \
	VPCMPEQD Y15, Y15, Y15        \
	VPSLLD   $31, Y15, Y15

// BLOCK begins a block with its first and last row.
#define BLOCK \
	VMOVAPS Y15, Y0 \
	VMOVAPS Y15, Y1 \
	VMOVAPS Y15, Y2 \
	VMOVAPS Y15, Y3 \
	MOVQ    SI, AX  \
	MOVQ    R10, R9 \
	MOVQ    DX, CX  \
	MOVQ    R11, R15 \
	CMPQ    AX, R9

// ADD4 adds four registers to four.
#define ADD4(a, b, c, d, to, tp, tq, tr) \
	VADDPS a, to, to \
	VADDPS b, tp, tp \
	VADDPS c, tq, tq \
	VADDPS d, tr, tr

// MUL4 weights 32 places of a row.
#define MUL4(row, w, a, b, c, d) \
	VMULPS (row)(R8*1), w, a   \
	VMULPS 32(row)(R8*1), w, b \
	VMULPS 64(row)(R8*1), w, c \
	VMULPS 96(row)(R8*1), w, d

// SUMMED adds what rows come to. It goes on with the next pair of rows (equal is
// set for the one in the middle), or else with the next block, or ends.
#define SUMMED \
	ADD4(Y4, Y5, Y6, Y7, Y0, Y1, Y2, Y3) \
	ADDQ    $24, AX      \
	SUBQ    $24, R9      \
	ADDQ    $4, CX       \
	SUBQ    $4, R15      \
	CMPQ    AX, R9       \
	JLS     pair         \
	VMOVUPS Y0, (DI)     \
	VMOVUPS Y1, 32(DI)   \
	VMOVUPS Y2, 64(DI)   \
	VMOVUPS Y3, 96(DI)   \
	SUBQ    $32, BX      \
	JEQ     end          \
	ADDQ    $128, DI     \
	ADDQ    $128, R8     \
	CMPQ    BX, $32      \
	JGE     block        \
	LEAQ    -128(DI)(BX*4), DI \
	LEAQ    -128(R8)(BX*4), R8 \
	MOVQ    $32, BX      \
	JMP     block        \
end:                     \
	VZEROUPPER           \
	RET

// func floatRowAVX2(dst []float32, src []uint16)
TEXT ·floatRowAVX2(SB), NOSPLIT, $0-48
	MOVQ dst_base+0(FP), DI
	MOVQ src_base+24(FP), SI
	MOVQ src_len+32(FP), BX
	XORQ CX, CX

loop:
	FLOATS(SI, 0, Y0)
	VMOVUPS Y0, (DI)(CX*4)
	NEXT(8)

// func roundRowAVX2(dst []uint16, src []float32)
TEXT ·roundRowAVX2(SB), NOSPLIT, $0-48
	MOVQ dst_base+0(FP), DI
	MOVQ src_base+24(FP), SI
	MOVQ src_len+32(FP), BX
	XORQ CX, CX
	BOUNDS

loop:
	VMOVUPS (SI)(CX*4), Y0
	VMOVUPS 32(SI)(CX*4), Y1
	ROUND
	NEXT(16)

// func sumRowsAVX2(dst []float32, rows [][]float32, from int, w []float32)
TEXT ·sumRowsAVX2(SB), NOSPLIT, $0-80
	SUMS

block:
	BLOCK

pair:
	MOVQ         (AX), R12
	VBROADCASTSS (CX), Y8
	MUL4(R12, Y8, Y4, Y5, Y6, Y7)
	JEQ          middle
	MOVQ         (R9), R13
	VBROADCASTSS (R15), Y9
	MUL4(R13, Y9, Y10, Y11, Y12, Y13)
	ADD4(Y10, Y11, Y12, Y13, Y4, Y5, Y6, Y7)

middle:
	SUMMED

// func symRowsAVX2(dst []float32, rows [][]float32, from int, w []float32)
// One weight serves two rows.
TEXT ·symRowsAVX2(SB), NOSPLIT, $0-80
	SUMS

block:
	BLOCK

pair:
	MOVQ         (AX), R12
	VBROADCASTSS (CX), Y8
	VMOVUPS      (R12)(R8*1), Y4
	VMOVUPS      32(R12)(R8*1), Y5
	VMOVUPS      64(R12)(R8*1), Y6
	VMOVUPS      96(R12)(R8*1), Y7
	JEQ          middle
	MOVQ         (R9), R13
	ADD4((R13)(R8*1), 32(R13)(R8*1), 64(R13)(R8*1), 96(R13)(R8*1), Y4, Y5, Y6, Y7)

middle:
	VMULPS Y8, Y4, Y4
	VMULPS Y8, Y5, Y5
	VMULPS Y8, Y6, Y6
	VMULPS Y8, Y7, Y7
	SUMMED

// TAPS sets y to what the pixels from and to after the first give, times their weights.
#define TAPS(from, to, y) \
	VBROADCASTSS 4*from+0(R11), X8    \
	VMULPS       12*from+0(R12), X8, y \
	VBROADCASTSS 4*to+0(R11), X9      \
	VMULPS       12*to+0(R12), X9, X9 \
	VADDPS       X9, y, y

// func across3AVX2(dst, src []float32, start, off, count []int32, w []float32)
// One pixel at a time in the lower three lanes; the fourth carries along a
// neighbour's value and is overwritten by the next pixel. Six and four weights, those
// of nearly all enlargements, need no loop.
//
//	AX, BX    the pixel, and how many there are
//	R8 … R10  start, off and count
//	R12, R13  the source pixels that go from the first and the last to the middle
//	R11, R15  their weights
TEXT ·across3AVX2(SB), NOSPLIT, $0-144
	MOVQ     dst_base+0(FP), DI
	MOVQ     src_base+24(FP), SI
	MOVQ     start_base+48(FP), R8
	MOVQ     start_len+56(FP), BX
	MOVQ     off_base+72(FP), R9
	MOVQ     count_base+96(FP), R10
	MOVQ     w_base+120(FP), DX
	VPCMPEQD X15, X15, X15
	VPSLLD   $31, X15, X15
	XORQ     AX, AX

pixel:
	MOVLQSX (R8)(AX*4), R12
	LEAQ    (R12)(R12*2), R12
	LEAQ    (SI)(R12*4), R12
	MOVLQSX (R9)(AX*4), R11
	LEAQ    (DX)(R11*4), R11
	MOVLQSX (R10)(AX*4), CX
	CMPQ    CX, $6
	JEQ     six
	CMPQ    CX, $4
	JEQ     four
	LEAQ    -4(R11)(CX*4), R15
	LEAQ    (CX)(CX*2), CX
	LEAQ    -12(R12)(CX*4), R13
	VMOVAPS X15, X0
	CMPQ    R12, R13

pair:
	VBROADCASTSS (R11), X8
	VMULPS       (R12), X8, X4
	JEQ          middle
	VBROADCASTSS (R15), X9
	VMULPS       (R13), X9, X5
	VADDPS       X5, X4, X4

middle:
	VADDPS  X4, X0, X0
	ADDQ    $12, R12
	SUBQ    $12, R13
	ADDQ    $4, R11
	SUBQ    $4, R15
	CMPQ    R12, R13
	JLS     pair

done:
	VMOVUPS X0, (DI)
	ADDQ    $12, DI
	INCQ    AX
	CMPQ    AX, BX
	JLT     pixel
	VZEROUPPER
	RET

six:
	TAPS(0, 5, X0)
	TAPS(1, 4, X1)
	TAPS(2, 3, X2)
	VADDPS X1, X0, X0
	VADDPS X2, X0, X0
	JMP    done

four:
	TAPS(0, 3, X0)
	TAPS(1, 2, X1)
	VADDPS X1, X0, X0
	JMP    done

// func lumaRowAVX2(dst []float32, src []uint16, w *[3]float32)
TEXT ·lumaRowAVX2(SB), NOSPLIT, $0-56
	MOVQ         dst_base+0(FP), DI
	MOVQ         dst_len+8(FP), BX
	MOVQ         src_base+24(FP), SI
	MOVQ         w+48(FP), DX
	VBROADCASTSS (DX), Y9
	VBROADCASTSS 4(DX), Y10
	VBROADCASTSS 8(DX), Y11
	XORQ         CX, CX
	PICKS

loop:
	PIXELS
	VMULPS  Y9, Y3, Y3
	VMULPS  Y10, Y4, Y4
	VMULPS  Y11, Y5, Y5
	VADDPS  Y4, Y3, Y3
	VADDPS  Y5, Y3, Y3
	VMOVUPS Y3, (DI)(CX*4)
	NEXT(8)

// func mostRowAVX2(dst []float32, src []uint16)
TEXT ·mostRowAVX2(SB), NOSPLIT, $0-48
	MOVQ dst_base+0(FP), DI
	MOVQ dst_len+8(FP), BX
	MOVQ src_base+24(FP), SI
	XORQ CX, CX
	PICKS

loop:
	PIXELS
	VMAXPS  Y4, Y3, Y3
	VMAXPS  Y5, Y3, Y3
	VMOVUPS Y3, (DI)(CX*4)
	NEXT(8)

// func tripleRowAVX2(dst, src []float32)
TEXT ·tripleRowAVX2(SB), NOSPLIT, $0-48
	MOVQ    dst_base+0(FP), DI
	MOVQ    src_base+24(FP), SI
	MOVQ    src_len+32(FP), BX
	VMOVDQU triple0<>(SB), Y12
	VMOVDQU triple1<>(SB), Y13
	VMOVDQU triple2<>(SB), Y14
	XORQ    CX, CX

loop:
	VMOVUPS (SI)(CX*4), Y0
	VPERMPS Y0, Y12, Y1
	VPERMPS Y0, Y13, Y2
	VPERMPS Y0, Y14, Y3
	VMOVUPS Y1, (DI)
	VMOVUPS Y2, 32(DI)
	VMOVUPS Y3, 64(DI)
	ADDQ    $96, DI
	NEXT(8)

// func aloneRowAVX2(row, left, right []uint16, over uint16) (at int)
// Sixteen at a time, until one lies further than over beyond both its neighbours: Y1
// how far above them, Y2 how far below, of which one at least is 0.
TEXT ·aloneRowAVX2(SB), NOSPLIT, $0-88
	MOVQ         row_base+0(FP), DI
	MOVQ         row_len+8(FP), BX
	MOVQ         left_base+24(FP), SI
	MOVQ         right_base+48(FP), DX
	VPBROADCASTW over+72(FP), Y3
	XORQ         CX, CX

loop:
	VMOVDQU  (DI)(CX*2), Y0
	VMOVDQU  (SI)(CX*2), Y4
	VPMAXUW  (DX)(CX*2), Y4, Y1
	VPMINUW  (DX)(CX*2), Y4, Y2
	VPSUBUSW Y1, Y0, Y1
	VPSUBUSW Y0, Y2, Y2
	VPOR     Y2, Y1, Y1
	VPSUBUSW Y3, Y1, Y1
	VPTEST   Y1, Y1
	JNE      found
	ADDQ     $16, CX
	CMPQ     CX, BX
	JLT      loop

found:
	MOVQ CX, at+80(FP)
	VZEROUPPER
	RET

// func scaleRowAVX2(dst, src []uint16, s []float32)
TEXT ·scaleRowAVX2(SB), NOSPLIT, $0-72
	MOVQ dst_base+0(FP), DI
	MOVQ src_base+24(FP), SI
	MOVQ src_len+32(FP), BX
	MOVQ s_base+48(FP), DX
	XORQ CX, CX
	BOUNDS

loop:
	FLOATS(SI, 0, Y0)
	FLOATS(SI, 16, Y1)
	VMULPS (DX)(CX*4), Y0, Y2
	VMULPS 32(DX)(CX*4), Y1, Y3
	VADDPS Y2, Y0, Y0
	VADDPS Y3, Y1, Y1
	ROUND
	NEXT(16)

// func mixRowAVX2(dst, over, top []uint16, p []float32)
TEXT ·mixRowAVX2(SB), NOSPLIT, $0-96
	MOVQ dst_base+0(FP), DI
	MOVQ dst_len+8(FP), BX
	MOVQ over_base+24(FP), SI
	MOVQ top_base+48(FP), DX
	MOVQ p_base+72(FP), R8
	XORQ CX, CX
	BOUNDS

loop:
	FLOATS(SI, 0, Y0)
	FLOATS(SI, 16, Y1)
	FLOATS(DX, 0, Y2)
	FLOATS(DX, 16, Y3)
	VSUBPS Y0, Y2, Y2
	VSUBPS Y1, Y3, Y3
	VMULPS (R8)(CX*4), Y2, Y2
	VMULPS 32(R8)(CX*4), Y3, Y3
	VADDPS Y2, Y0, Y0
	VADDPS Y3, Y1, Y1
	ROUND
	NEXT(16)

// func dampRowAVX2(e, y []float32, around *[5][]float32, noise4 float32)
// DX, R8 … R11: the blur, and left, right, up and down of it.
TEXT ·dampRowAVX2(SB), NOSPLIT, $0-60
	MOVQ         e_base+0(FP), DI
	MOVQ         e_len+8(FP), BX
	MOVQ         y_base+24(FP), SI
	MOVQ         around+48(FP), AX
	MOVQ         (AX), DX
	MOVQ         24(AX), R8
	MOVQ         48(AX), R9
	MOVQ         72(AX), R10
	MOVQ         96(AX), R11
	VBROADCASTSS noise4+56(FP), Y13
	VBROADCASTSS half<>(SB), Y12
	XORQ         CX, CX

loop:
	VMOVUPS (SI)(CX*4), Y0
	VSUBPS  (DX)(CX*4), Y0, Y0  // d
	VMOVUPS (R9)(CX*4), Y1
	VSUBPS  (R8)(CX*4), Y1, Y1  // gx
	VMOVUPS (R11)(CX*4), Y2
	VSUBPS  (R10)(CX*4), Y2, Y2 // gy
	VMULPS  Y1, Y1, Y1
	VMULPS  Y2, Y2, Y2
	VADDPS  Y2, Y1, Y1
	VMULPS  Y12, Y1, Y1
	VMULPS  Y0, Y0, Y3
	VADDPS  Y1, Y3, Y3
	VMULPS  Y3, Y3, Y3          // s
	VADDPS  Y13, Y3, Y4
	VDIVPS  Y4, Y3, Y3
	VMULPS  Y3, Y0, Y0
	VMOVUPS Y0, (DI)(CX*4)
	NEXT(8)

// func kneeRowAVX2(e, y, most []float32, amount, half float32)
// Y8 … Y11: amount, half, 1/1024 and 1; Y15: -0, the sign alone.
TEXT ·kneeRowAVX2(SB), NOSPLIT, $0-80
	MOVQ         e_base+0(FP), DI
	MOVQ         e_len+8(FP), BX
	MOVQ         y_base+24(FP), SI
	MOVQ         most_base+48(FP), DX
	VBROADCASTSS amount+72(FP), Y8
	VBROADCASTSS half+76(FP), Y9
	VBROADCASTSS least<>(SB), Y10
	VBROADCASTSS one<>(SB), Y11
	VPCMPEQD     Y15, Y15, Y15
	VPSLLD       $31, Y15, Y15
	XORQ         CX, CX
	BOUNDS

loop:
	VMULPS    (DI)(CX*4), Y8, Y0 // x
	VMOVUPS   (SI)(CX*4), Y1
	VMOVUPS   (DX)(CX*4), Y2
	VSUBPS    Y2, Y14, Y3
	VMULPS    Y3, Y1, Y3
	VMAXPS    Y11, Y2, Y4
	VDIVPS    Y4, Y3, Y3
	VBLENDVPS Y0, Y1, Y3, Y3     // the room to black where x is below 0
	VMULPS    Y12, Y3, Y3
	VMINPS    Y9, Y3, Y3
	VMAXPS    Y10, Y3, Y3        // h
	VANDNPS   Y0, Y15, Y4        // a = |x|
	VANDPS    Y15, Y0, Y5        // its sign
	VSUBPS    Y3, Y4, Y6
	VMAXPS    Y13, Y6, Y6        // u
	VMINPS    Y3, Y4, Y4
	VMULPS    Y3, Y6, Y7
	VADDPS    Y3, Y6, Y6
	VDIVPS    Y6, Y7, Y7
	VADDPS    Y7, Y4, Y4
	VMAXPS    Y11, Y1, Y1
	VDIVPS    Y1, Y4, Y4
	VORPS     Y5, Y4, Y4
	VMOVUPS   Y4, (DI)(CX*4)
	NEXT(8)

// func holdRowAVX2(w []float32, from float32)
TEXT ·holdRowAVX2(SB), NOSPLIT, $0-28
	MOVQ         w_base+0(FP), DI
	MOVQ         w_len+8(FP), BX
	VBROADCASTSS from+24(FP), Y8
	VBROADCASTSS one<>(SB), Y9
	XORQ         CX, CX

loop:
	VMOVUPS   (DI)(CX*4), Y0
	VCMPPS    $0x1d, Y8, Y0, Y1
	VBLENDVPS Y1, Y9, Y0, Y0
	VMOVUPS   Y0, (DI)(CX*4)
	NEXT(8)

// func mulRowAVX2(dst, a, b []float32)
TEXT ·mulRowAVX2(SB), NOSPLIT, $0-72
	OF2

loop:
	VMOVUPS (SI)(CX*4), Y0
	VMULPS  (DX)(CX*4), Y0, Y0
	VMOVUPS Y0, (DI)(CX*4)
	NEXT(8)

// func addMulRowAVX2(dst, a, b []float32)
TEXT ·addMulRowAVX2(SB), NOSPLIT, $0-72
	OF2

loop:
	VMOVUPS (SI)(CX*4), Y0
	VMULPS  (DX)(CX*4), Y0, Y0
	VADDPS  (DI)(CX*4), Y0, Y0
	VMOVUPS Y0, (DI)(CX*4)
	NEXT(8)

// func shareRowAVX2(dst, a, b []float32)
TEXT ·shareRowAVX2(SB), NOSPLIT, $0-72
	OF2

loop:
	VMOVUPS (SI)(CX*4), Y0
	VMAXPS  (DX)(CX*4), Y0, Y1
	VDIVPS  Y1, Y0, Y0
	VMOVUPS Y0, (DI)(CX*4)
	NEXT(8)

// func lowRowAVX2(dst, a, b []float32)
TEXT ·lowRowAVX2(SB), NOSPLIT, $0-72
	OF2

loop:
	VMOVUPS (SI)(CX*4), Y0
	VMINPS  (DX)(CX*4), Y0, Y0
	VMOVUPS Y0, (DI)(CX*4)
	NEXT(8)

// func highRowAVX2(dst, a, b []float32)
TEXT ·highRowAVX2(SB), NOSPLIT, $0-72
	OF2

loop:
	VMOVUPS (SI)(CX*4), Y0
	VMAXPS  (DX)(CX*4), Y0, Y0
	VMOVUPS Y0, (DI)(CX*4)
	NEXT(8)
