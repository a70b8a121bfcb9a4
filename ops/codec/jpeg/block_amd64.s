//go:build amd64 && !plain

#include "textflag.h"

// Colours, transform and quantising for AVX2: whole numbers that come out as
// those of the plain form. ·pairs is in fast_amd64.go.

// Of four pixels in 12 bytes: red and blue, and green twice, as pairs of 16 bits.
DATA redBlue<>+0(SB)/8, $0x8005800380028000
DATA redBlue<>+8(SB)/8, $0x800b800980088006
GLOBL redBlue<>(SB), RODATA|NOPTR, $16
DATA greens<>+0(SB)/8, $0x8004800480018001
DATA greens<>+8(SB)/8, $0x800a800a80078007
GLOBL greens<>(SB), RODATA|NOPTR, $16

// Of four words of two blocks' coefficients, a byte each: lane by lane; and
// these, of eight words, in the order first, second, both lanes lower rows first.
DATA byLane<>+0(SB)/8, $0x0d0905010c080400
DATA byLane<>+8(SB)/8, $0x0f0b07030e0a0602
GLOBL byLane<>(SB), RODATA|NOPTR, $16
DATA byBlock<>+0(SB)/8, $0x0703050106020400
GLOBL byBlock<>(SB), RODATA|NOPTR, $8

// CONVERT takes the bytes of eight pixels in y, a lane of 32 bits each, to Y in
// y, Cb in cb and Cr in cr; t passes.
#define CONVERT(y, cb, cr, t) \
	VPSHUFB  Y15, y, t    \
	VPSHUFB  Y14, y, y    \
	VPSUBW   t, y, cr     \
	VPSLLD   $16, t, t    \
	VPMADDWD Y13, cr, y   \
	VPMADDWD Y12, cr, cb  \
	VPMADDWD Y11, cr, cr  \
	VPADDD   t, y, y      \
	VPADDD   Y10, y, y    \
	VPSUBD   cb, Y9, cb   \
	VPSUBD   cr, Y9, cr   \
	VPSRLD   $16, y, y    \
	VPSRLD   $16, cb, cb  \
	VPSRLD   $16, cr, cr

// PAIRED writes eight lanes of low and high as eight pairs.
#define PAIRED(low, high, at) \
	VPUNPCKLDQ   high, low, Y6     \
	VPUNPCKHDQ   high, low, Y7     \
	VMOVDQU      X6, 0(at)         \
	VMOVDQU      X7, 16(at)        \
	VEXTRACTI128 $1, Y6, 32(at)    \
	VEXTRACTI128 $1, Y7, 48(at)

// func coloursAVX2(src *byte, stride int, luma, a, b *[64]uint64)
// SI rows of 16 pixels, BX from one to the next; DI, R8, R9 pairs of luma and
// of the first and last eight pixels' chroma; CX rows left.
// Y15 greens, Y14 red and blue; factors of red and blue less green in pairs, for
// Y in Y13, less Cb in Y12, less Cr in Y11; what rounds Y in Y10, chroma in Y9.
// Y0 to Y2 are Y, Cb, Cr of the first eight pixels, Y3 to Y5 of the last.
TEXT ·coloursAVX2(SB), NOSPLIT, $0-40
	MOVQ           src+0(FP), SI
	MOVQ           stride+8(FP), BX
	MOVQ           luma+16(FP), DI
	MOVQ           a+24(FP), R8
	MOVQ           b+32(FP), R9
	MOVQ           $8, CX
	VBROADCASTI128 greens<>(SB), Y15
	VBROADCASTI128 redBlue<>(SB), Y14
	VPBROADCASTD   ·pairs+0(SB), Y13
	VPBROADCASTD   ·pairs+4(SB), Y12
	VPBROADCASTD   ·pairs+8(SB), Y11
	VPBROADCASTD   ·pairs+12(SB), Y10
	VPBROADCASTD   ·pairs+16(SB), Y9

row:
	VMOVDQU     (SI), X0
	VINSERTI128 $1, 12(SI), Y0, Y0
	VMOVDQU     20(SI), X3
	VINSERTI128 $1, 32(SI), Y3, Y3
	VPSRLDQ     $4, Y3, Y3
	CONVERT(Y0, Y1, Y2, Y6)
	CONVERT(Y3, Y4, Y5, Y6)
	PAIRED(Y0, Y3, DI)
	PAIRED(Y1, Y2, R8)
	PAIRED(Y4, Y5, R9)
	ADDQ        BX, SI
	ADDQ        $64, DI
	ADDQ        $64, R8
	ADDQ        $64, R9
	DECQ        CX
	JGT         row
	VZEROUPPER
	RET

// TURN makes rows in Y0 to Y7 columns in Y8 to Y15, of two blocks whose
// samples of 16 bits alternate. Lanes of 128 bits hold two pairs from the left
// half beside two from the right, or whole halves; see what calls it.
#define TURN \
	VPUNPCKLDQ  Y1, Y0, Y8          \
	VPUNPCKHDQ  Y1, Y0, Y9          \
	VPUNPCKLDQ  Y3, Y2, Y10         \
	VPUNPCKHDQ  Y3, Y2, Y11         \
	VPUNPCKLDQ  Y5, Y4, Y12         \
	VPUNPCKHDQ  Y5, Y4, Y13         \
	VPUNPCKLDQ  Y7, Y6, Y14         \
	VPUNPCKHDQ  Y7, Y6, Y15         \
	VPUNPCKLQDQ Y10, Y8, Y0         \
	VPUNPCKHQDQ Y10, Y8, Y2         \
	VPUNPCKLQDQ Y11, Y9, Y1         \
	VPUNPCKHQDQ Y11, Y9, Y3         \
	VPUNPCKLQDQ Y14, Y12, Y4        \
	VPUNPCKHQDQ Y14, Y12, Y6        \
	VPUNPCKLQDQ Y15, Y13, Y5        \
	VPUNPCKHQDQ Y15, Y13, Y7        \
	VPERM2I128  $0x20, Y4, Y0, Y8   \
	VPERM2I128  $0x20, Y5, Y1, Y9   \
	VPERM2I128  $0x20, Y6, Y2, Y10  \
	VPERM2I128  $0x20, Y7, Y3, Y11  \
	VPERM2I128  $0x31, Y4, Y0, Y12  \
	VPERM2I128  $0x31, Y5, Y1, Y13  \
	VPERM2I128  $0x31, Y6, Y2, Y14  \
	VPERM2I128  $0x31, Y7, Y3, Y15

// EVEN sets out to the rounded products of pairs in lo and hi; p and q pass.
#define EVEN(factors, lo, hi, shift, p, q, out) \
	VPBROADCASTD ·pairs+factors(SB), q \
	VPMADDWD     q, lo, p       \
	VPMADDWD     q, hi, q       \
	VPADDD       Y7, p, p       \
	VPADDD       Y7, q, q       \
	VPSRAD       $shift, p, p   \
	VPSRAD       $shift, q, q   \
	VPACKSSDW    q, p, out

// ODD is EVEN for two pairs; r passes too.
#define ODD(factors, lo, hi, lo2, hi2, shift, p, q, r, out) \
	VPBROADCASTD ·pairs+factors(SB), q   \
	VPMADDWD     q, lo, p       \
	VPMADDWD     q, hi, q       \
	VPADDD       Y7, p, p       \
	VPADDD       Y7, q, q       \
	VPBROADCASTD ·pairs+factors+4(SB), r \
	VPMADDWD     r, lo2, out    \
	VPADDD       out, p, p      \
	VPMADDWD     r, hi2, r      \
	VPADDD       r, q, q        \
	VPSRAD       $shift, p, p   \
	VPSRAD       $shift, q, q   \
	VPACKSSDW    q, p, out

// SUMS sets sum to a + b and b to a - b.
#define SUMS(a, b, sum) \
	VPADDW b, a, sum \
	VPSUBW b, a, b

// PASS transforms a0 to a7, lane by lane, to Y0 to Y7, of which Y0 and Y4 are
// left to scale. The sums t0 to t3 are Y0 to Y3, the differences t7 to t4
// a7 to a4, as forward names them. Y7 rounds, till the last.
#define PASS(a0, a1, a2, a3, a4, a5, a6, a7, round, shift) \
	SUMS(a0, a7, Y0)             \
	SUMS(a1, a6, Y1)             \
	SUMS(a2, a5, Y2)             \
	SUMS(a3, a4, Y3)             \
	VPBROADCASTD ·pairs+round(SB), Y7 \
	SUMS(Y0, Y3, a0)             \
	SUMS(Y1, Y2, a1)             \
	VPADDW     a1, a0, Y0        \
	VPSUBW     a1, a0, Y4        \
	VPUNPCKLWD Y3, Y2, a0        \
	VPUNPCKHWD Y3, Y2, a1        \
	EVEN(20, a0, a1, shift, a2, a3, Y2) \
	EVEN(24, a0, a1, shift, a2, a3, Y6) \
	VPUNPCKLWD a5, a4, a0        \
	VPUNPCKHWD a5, a4, a1        \
	VPUNPCKLWD a7, a6, a2        \
	VPUNPCKHWD a7, a6, a3        \
	ODD(28, a0, a1, a2, a3, shift, a4, a5, a6, Y1) \
	ODD(36, a0, a1, a2, a3, shift, a4, a5, a6, Y3) \
	ODD(44, a0, a1, a2, a3, shift, a4, a5, a6, Y5) \
	ODD(52, a0, a1, a2, a3, shift, a4, a5, a6, Y7)

// DIVIDE quantises y, in place at, and writes it, with its bias in Y12; what is
// 0 then is all ones in y. t passes.
#define DIVIDE(y, at, t) \
	VPABSW   y, t               \
	VPADDW   at(R8), t, t       \
	VPMULHUW 256+at(R8), t, t   \
	VPMULHUW 512+at(R8), t, t   \
	VPSIGNW  y, t, t            \
	VPADDW   Y12, t, t          \
	VMOVDQU  t, at(DI)          \
	VPCMPEQW Y12, t, y

// ROWS writes the words of rows up and low = up + 4; map says in a bit what is 0,
// in bytes: up and low of the first block, of the second.
#define ROWS(up, low, at, map) \
	VPUNPCKLWD low, up, Y8        \
	VPUNPCKHWD low, up, Y9        \
	VPERM2I128 $0x20, Y9, Y8, Y10 \
	VPERM2I128 $0x31, Y9, Y8, Y11 \
	DIVIDE(Y10, at, Y8)           \
	DIVIDE(Y11, at+32, Y9)        \
	VPACKSSWB  Y11, Y10, Y10      \
	VPERMQ     $0xd8, Y10, Y10    \
	VPSHUFB    Y13, Y10, Y10      \
	VPERMD     Y10, Y14, map

// SEEN writes the maps of rows i, i+1, i+4, i+5 from those of i and i+1.
#define SEEN(even, odd, at) \
	VPUNPCKLQDQ odd, even, Y8    \
	VPUNPCKHQDQ odd, even, Y9    \
	VPMOVMSKB   Y8, AX           \
	VPMOVMSKB   Y9, BX           \
	NOTL        AX               \
	NOTL        BX               \
	MOVL        AX, at(R9)       \
	MOVL        BX, at+8(R9)

// func codeAVX2(d *[64]uint64, w *[32]uint64, rows *[2]uint64, by *[3][32]uint64)
// SI samples, DI words, R9 maps of what isn't 0, R8 what to divide by.
// The samples come packed as pixels 0 1 4 5 beside 2 3 6 7, so that TURN gives
// columns 0 4 1 5 2 6 3 7; of those it makes rows 0 2 1 3 4 6 5 7.
TEXT ·codeAVX2(SB), NOSPLIT, $0-32
	MOVQ         d+0(FP), SI
	MOVQ         w+8(FP), DI
	MOVQ         rows+16(FP), R9
	MOVQ         by+24(FP), R8
	VMOVDQU      (SI), Y0
	VMOVDQU      64(SI), Y1
	VMOVDQU      128(SI), Y2
	VMOVDQU      192(SI), Y3
	VMOVDQU      256(SI), Y4
	VMOVDQU      320(SI), Y5
	VMOVDQU      384(SI), Y6
	VMOVDQU      448(SI), Y7
	VPACKUSDW    32(SI), Y0, Y0
	VPACKUSDW    96(SI), Y1, Y1
	VPACKUSDW    160(SI), Y2, Y2
	VPACKUSDW    224(SI), Y3, Y3
	VPACKUSDW    288(SI), Y4, Y4
	VPACKUSDW    352(SI), Y5, Y5
	VPACKUSDW    416(SI), Y6, Y6
	VPACKUSDW    480(SI), Y7, Y7
	TURN
	PASS(Y8, Y10, Y12, Y14, Y9, Y11, Y13, Y15, 60, 11)
	VPBROADCASTD ·pairs+68(SB), Y8
	VPSLLW       $2, Y0, Y0
	VPSLLW       $2, Y4, Y4
	VPSUBW       Y8, Y0, Y0
	TURN
	PASS(Y8, Y10, Y9, Y11, Y12, Y14, Y13, Y15, 64, 15)
	VPBROADCASTD ·pairs+72(SB), Y8
	VPADDW       Y8, Y0, Y0
	VPADDW       Y8, Y4, Y4
	VPSRAW       $2, Y0, Y0
	VPSRAW       $2, Y4, Y4
	VPBROADCASTD ·pairs+76(SB), Y12
	VBROADCASTI128 byLane<>(SB), Y13
	VPMOVZXBD    byBlock<>(SB), Y14
	ROWS(Y0, Y4, 0, Y0)
	ROWS(Y1, Y5, 64, Y1)
	ROWS(Y2, Y6, 128, Y2)
	ROWS(Y3, Y7, 192, Y3)
	SEEN(Y0, Y1, 0)
	SEEN(Y2, Y3, 4)
	VZEROUPPER
	RET
