//go:build amd64 && !plain

#include "go_asm.h"
#include "textflag.h"
#include "tone_amd64.h"

// Each function takes four pixels at a time, in DI those of a toneBlock, through one
// step of tone.point or what it calls, with the same roundings in the same order.
// SI holds a toneLanes, CX how many pixels are left. Where the plain form would
// leave the way that nearly all pixels go, the result is NaN.

// func luminanceAVX2(b *toneBlock, p *toneLanes, n int)
TEXT ·luminanceAVX2(SB), NOSPLIT, $0-24
	START

loop:
	VMOVUPD toneBlock_g(DI), Y1
	VMOVUPD toneBlock_r(DI), Y0
	VMOVUPD toneBlock_b(DI), Y2
	VSUBPD  Y1, Y0, Y0
	VSUBPD  Y1, Y2, Y2
	VMULPD  toneLanes_lumaR(SI), Y0, Y0
	VMULPD  toneLanes_lumaB(SI), Y2, Y2
	VADDPD  Y2, Y0, Y0
	VADDPD  Y0, Y1, Y0
	VMOVUPD Y0, toneBlock_y(DI)
	NEXT

// func exposeAVX2(b *toneBlock, p *toneLanes, n int)
// Light and luminance times exposeBy: Y0 to Y2 are light, Y3 luminance, Y4 the
// largest channel, Y5 the amount of light, Y7 the factor.
TEXT ·exposeAVX2(SB), NOSPLIT, $0-24
	START
	VMOVUPD toneLanes_one(SI), Y15
	VMOVUPD toneLanes_half(SI), Y14
	VMOVUPD toneLanes_gain(SI), Y13

loop:
	VMOVUPD   toneBlock_r(DI), Y0
	VMOVUPD   toneBlock_g(DI), Y1
	VMOVUPD   toneBlock_b(DI), Y2
	VMOVUPD   toneBlock_y(DI), Y3
	VMAXPD    Y1, Y0, Y4
	VMAXPD    Y2, Y4, Y4
	VSUBPD    Y3, Y4, Y5
	VDIVPD    Y4, Y5, Y5
	VMULPD    Y5, Y5, Y6
	VMULPD    Y5, Y6, Y6
	VSUBPD    Y6, Y15, Y6
	VMULPD    Y6, Y4, Y5
	VMOVAPD   Y13, Y7
	VMULPD    Y5, Y13, Y6
	VCMPPD    $0x1e, toneLanes_shoulder(SI), Y6, Y8 // above it; with no light at all NaN, and not
	VMOVMSKPD Y8, AX
	TESTL     AX, AX
	JEQ       whole

	// factor: the share of the hyperbola.
	VSUBPD    Y14, Y6, Y6
	VADDPD    Y6, Y6, Y6
	VMULPD    toneLanes_bend(SI), Y6, Y9
	VADDPD    Y9, Y15, Y9
	VDIVPD    Y9, Y6, Y6
	VMULPD    Y14, Y6, Y6
	VADDPD    Y6, Y14, Y6
	VDIVPD    Y5, Y6, Y6
	VBLENDVPD Y8, Y6, Y7, Y7

whole:
	// Back to the bound, but for an eighth.
	VMULPD    Y7, Y4, Y6
	VCMPPD    $0x1e, Y15, Y6, Y8
	VMOVMSKPD Y8, AX
	TESTL     AX, AX
	JEQ       inside
	VDIVPD    Y6, Y15, Y9
	VSUBPD    Y9, Y15, Y9
	VMULPD    toneLanes_eighth(SI), Y9, Y9
	VADDPD    Y9, Y15, Y9
	VMULPD    Y9, Y7, Y9
	VDIVPD    Y6, Y9, Y9
	VBLENDVPD Y8, Y9, Y7, Y7

inside:
	VMULPD  Y7, Y0, Y0
	VMULPD  Y7, Y1, Y1
	VMULPD  Y7, Y2, Y2
	VMULPD  Y7, Y3, Y3
	VMOVUPD Y0, toneBlock_r(DI)
	VMOVUPD Y1, toneBlock_g(DI)
	VMOVUPD Y2, toneBlock_b(DI)
	VMOVUPD Y3, toneBlock_y(DI)
	NEXT

// func lightAVX2(b *toneBlock, p *toneLanes, n int)
// The root of luminance, and its L* (labF) as l and l1.
TEXT ·lightAVX2(SB), NOSPLIT, $0-24
	START
	MOVQ ·rootTable(SB), R9

loop:
	VMOVUPD   toneBlock_y(DI), Y0
	ROOT(Y0, Y1)
	BLACK(Y0, Y1)
	VMOVUPD   Y1, toneBlock_root(DI)
	VMULPD    toneLanes_slope(SI), Y0, Y2
	VADDPD    toneLanes_base(SI), Y2, Y2
	VCMPPD    $0x1e, toneLanes_knee(SI), Y0, Y3
	VBLENDVPD Y3, Y1, Y2, Y1
	VMULPD    toneLanes_c116(SI), Y1, Y1
	VSUBPD    toneLanes_c16(SI), Y1, Y1
	VMOVUPD   Y1, toneBlock_l(DI)
	VMOVUPD   Y1, toneBlock_l1(DI)
	NEXT

// FIELDS loads two neighbouring fields of four pieces.
#define FIELDS(from, a, b) \
	VMOVUPD     from(R8)(AX*1), X4             \
	VINSERTF128 $1, from(R8)(R10*1), Y4, Y4    \
	VMOVUPD     from(R8)(DX*1), X5             \
	VINSERTF128 $1, from(R8)(R11*1), Y5, Y5    \
	VUNPCKLPD   Y5, Y4, a                      \
	VUNPCKHPD   Y5, Y4, b

// func curveAVX2(b *toneBlock, p *toneLanes, x *float64, points int, pieces *cubicPiece, n int)
// l1 through a curve (cubic.at), held to 0..100.
TEXT ·curveAVX2(SB), NOSPLIT, $0-48
	MOVQ b+0(FP), DI
	MOVQ p+8(FP), SI
	MOVQ x+16(FP), R12
	MOVQ points+24(FP), R13
	MOVQ pieces+32(FP), R8
	MOVQ n+40(FP), CX

loop:
	// The piece: how many points lie at or below.
	VMOVUPD toneBlock_l1(DI), Y0
	VPXOR   Y1, Y1, Y1
	XORQ    AX, AX

point:
	VBROADCASTSD (R12)(AX*8), Y2
	VCMPPD       $2, Y0, Y2, Y2
	VPSUBQ       Y2, Y1, Y1
	INCQ         AX
	CMPQ         AX, R13
	JLT          point
	VPSLLQ       $6, Y1, Y1
	VMOVQ        X1, AX
	VPEXTRQ      $1, X1, DX
	VEXTRACTI128 $1, Y1, X2
	VMOVQ        X2, R10
	VPEXTRQ      $1, X2, R11

	FIELDS(cubicPiece_x, Y2, Y3)
	VSUBPD  Y2, Y0, Y2
	VDIVPD  Y3, Y2, Y2
	FIELDS(cubicPiece_q, Y6, Y7)
	VMULPD  Y2, Y7, Y7
	VADDPD  Y7, Y6, Y6
	FIELDS(cubicPiece_y, Y7, Y8)
	VMULPD  Y2, Y6, Y6
	VADDPD  Y6, Y8, Y6
	VMULPD  Y2, Y6, Y6
	VADDPD  Y6, Y7, Y6
	FIELDS(cubicPiece_lo, Y7, Y8)
	VMINPD  Y6, Y8, Y6
	VMAXPD  Y6, Y7, Y6
	VMOVUPD toneLanes_hundred(SI), Y7
	VMINPD  Y6, Y7, Y6
	VXORPD  Y7, Y7, Y7
	VMAXPD  Y6, Y7, Y6
	VMOVUPD Y6, toneBlock_l1(DI)
	NEXT

// func localAVX2(b *toneBlock, p *toneLanes, n int)
// localContrast of l1: with x what would be added and room what there is on its
// side, l1 + x / ((1 + |x|/12) + |x|/room).
TEXT ·localAVX2(SB), NOSPLIT, $0-24
	START
	VXORPD Y15, Y15, Y15

loop:
	VMOVUPD   toneBlock_l1(DI), Y0
	VMULPD    toneBlock_aroundA(DI), Y0, Y1
	VSUBPD    Y1, Y0, Y1
	VSUBPD    toneBlock_aroundB(DI), Y1, Y1
	VMULPD    toneLanes_local(SI), Y1, Y1
	VANDPD    toneLanes_abs(SI), Y1, Y2
	VMOVUPD   toneLanes_hundred(SI), Y3
	VSUBPD    Y0, Y3, Y3
	VCMPPD    $0x1e, Y15, Y1, Y4
	VBLENDVPD Y4, Y3, Y0, Y3
	VDIVPD    toneLanes_halo(SI), Y2, Y4
	VADDPD    toneLanes_one(SI), Y4, Y4
	VDIVPD    Y3, Y2, Y2
	VADDPD    Y2, Y4, Y4
	VDIVPD    Y4, Y1, Y4
	VADDPD    Y4, Y0, Y4

	// Nothing to add, or no room: it stays.
	VCMPPD    $0, Y15, Y1, Y1
	VCMPPD    $2, Y15, Y3, Y3
	VORPD     Y3, Y1, Y1
	VBLENDVPD Y1, Y0, Y4, Y0
	VMOVUPD   Y0, toneBlock_l1(DI)
	NEXT

// func followAVX2(b *toneBlock, p *toneLanes, n int)
// From l and l1: the chroma's factor k, the luminance y1 and its root root1.
TEXT ·followAVX2(SB), NOSPLIT, $0-24
	START
	MOVQ    ·rootTable(SB), R9
	VMOVUPD toneLanes_one(SI), Y9

loop:
	VMOVUPD   toneBlock_l1(DI), Y0
	VADDPD    toneBlock_l(DI), Y9, Y1
	VADDPD    Y0, Y9, Y2
	VDIVPD    Y1, Y2, Y2
	VMULPD    toneLanes_chroma(SI), Y2, Y2
	VMOVUPD   Y2, toneBlock_k(DI)
	VADDPD    toneLanes_c16(SI), Y0, Y0
	VDIVPD    toneLanes_c116(SI), Y0, Y0
	VMULPD    Y0, Y0, Y1
	VMULPD    Y0, Y1, Y1
	VCMPPD    $0x1e, toneLanes_foot(SI), Y0, Y2
	VCMPPD    $0x1e, toneLanes_knee(SI), Y1, Y3
	VANDPD    Y2, Y3, Y3
	VMOVMSKPD Y3, AX
	CMPL      AX, $15
	JEQ       light

	// CIELAB's straight line.
	VSUBPD    toneLanes_base(SI), Y0, Y3
	VDIVPD    toneLanes_slope(SI), Y3, Y3
	VBLENDVPD Y2, Y1, Y3, Y1
	VCMPPD    $0x1e, toneLanes_knee(SI), Y1, Y3
	ROOT(Y1, Y2)
	BLACK(Y1, Y2)
	VBLENDVPD Y3, Y0, Y2, Y0

light:
	VMOVUPD Y1, toneBlock_y1(DI)
	VMOVUPD Y0, toneBlock_root1(DI)
	NEXT

// CONE sets out to the cube root of a cone's light, from Y0 red less green, Y1 green
// and Y2 blue less green.
#define CONE(red, blue, y) \
	VMULPD red(SI), Y0, Y3  \
	VMULPD blue(SI), Y2, Y4 \
	VADDPD Y4, Y3, Y3       \
	VADDPD Y3, Y1, Y3       \
	ROOT(Y3, y)

// func conesAVX2(b *toneBlock, p *toneLanes, n int)
// m, u and v of light: hueSpace.split.
TEXT ·conesAVX2(SB), NOSPLIT, $0-24
	START
	MOVQ ·rootTable(SB), R9

loop:
	VMOVUPD toneBlock_r(DI), Y0
	VMOVUPD toneBlock_g(DI), Y1
	VMOVUPD toneBlock_b(DI), Y2
	VSUBPD  Y1, Y0, Y0
	VSUBPD  Y1, Y2, Y2
	CONE(toneLanes_to00, toneLanes_to02, Y5)
	CONE(toneLanes_to10, toneLanes_to12, Y6)
	CONE(toneLanes_to20, toneLanes_to22, Y7)
	VSUBPD  Y6, Y5, Y5
	VSUBPD  Y6, Y7, Y7
	VMOVUPD Y5, toneBlock_u(DI)
	VMOVUPD Y6, toneBlock_m(DI)
	VMOVUPD Y7, toneBlock_v(DI)
	NEXT

// func lineAVX2(b *toneBlock, p *toneLanes, n int)
// u and v become those of k times the chroma, at luminance y1 on the line of hue, and
// m the guess for solve: hueSpace.line, muted, and hueSpace.at up to solve. grey is
// set where the result is y1 in all channels.
TEXT ·lineAVX2(SB), NOSPLIT, $0-24
	START

loop:
	// line: Y5 u, Y6 m, Y7 v, Y8 1/root, Y9 du, Y10 dv, Y14 a2, Y15 a3
	VMOVUPD toneBlock_u(DI), Y5
	VMOVUPD toneBlock_m(DI), Y6
	VMOVUPD toneBlock_v(DI), Y7
	VMOVUPD toneLanes_one(SI), Y8
	VDIVPD  toneBlock_root(DI), Y8, Y8
	VMULPD  Y8, Y7, Y9
	VMINPD  toneLanes_one(SI), Y9, Y9
	VMAXPD  toneLanes_minus(SI), Y9, Y9
	VMULPD  toneLanes_turnU(SI), Y5, Y10
	VMULPD  toneLanes_turnV(SI), Y7, Y11
	VADDPD  Y11, Y10, Y10
	VMULPD  Y9, Y10, Y10
	VMULPD  Y9, Y9, Y9
	VMULPD  toneLanes_turn(SI), Y9, Y9
	VMULPD  toneLanes_wl(SI), Y5, Y11
	VMULPD  toneLanes_ws(SI), Y7, Y12
	VADDPD  Y12, Y11, Y13
	VMULPD  Y13, Y13, Y14
	VMULPD  Y5, Y11, Y11
	VMULPD  Y7, Y12, Y12
	VADDPD  Y12, Y11, Y11
	VSUBPD  Y11, Y14, Y14
	VMULPD  Y8, Y14, Y14
	VADDPD  Y13, Y6, Y15
	VSUBPD  toneBlock_root(DI), Y15, Y15
	VSUBPD  Y14, Y15, Y15

	// muted, by OKLab's chroma: Y0 k
	VMOVUPD toneBlock_k(DI), Y0
	MOVQ    toneLanes_muted(SI), AX
	TESTQ   AX, AX
	JEQ     at
	VMULPD  toneLanes_aU(SI), Y5, Y1
	VMULPD  toneLanes_aV(SI), Y7, Y2
	VADDPD  Y2, Y1, Y1
	VMULPD  Y1, Y1, Y1
	VMULPD  toneLanes_bU(SI), Y5, Y2
	VMULPD  toneLanes_bV(SI), Y7, Y3
	VSUBPD  Y3, Y2, Y2
	VMULPD  Y2, Y2, Y2
	VADDPD  Y2, Y1, Y1
	VMULPD  Y0, Y0, Y2
	VMULPD  Y1, Y2, Y1
	VMULPD  toneLanes_mutedScale(SI), Y1, Y1
	VADDPD  toneLanes_one(SI), Y1, Y1
	VMOVUPD toneLanes_muted(SI), Y2
	VDIVPD  Y1, Y2, Y2
	VADDPD  toneLanes_one(SI), Y2, Y2
	VMULPD  Y2, Y0, Y0

at:
	// at: Y1 the guess, Y9 u and Y10 v of the result, Y5 where it is grey
	VMULPD  toneBlock_root1(DI), Y8, Y1
	VDIVPD  Y1, Y0, Y2
	VMULPD  Y2, Y2, Y3
	VMULPD  Y3, Y1, Y1
	VMULPD  Y2, Y15, Y15
	VADDPD  Y15, Y14, Y15
	VMULPD  Y15, Y1, Y1
	VADDPD  toneBlock_root1(DI), Y1, Y1
	VMOVUPD toneLanes_one(SI), Y15
	VSUBPD  Y3, Y15, Y4
	VMULPD  Y9, Y4, Y4
	VSUBPD  Y4, Y15, Y4
	VMULPD  Y5, Y0, Y9
	VMULPD  Y4, Y9, Y9
	VSUBPD  Y2, Y15, Y4
	VMULPD  Y10, Y4, Y4
	VSUBPD  Y4, Y7, Y4
	VMULPD  Y4, Y0, Y10
	VXORPD  Y4, Y4, Y4
	VCMPPD  $0, Y4, Y5, Y5
	VCMPPD  $0, Y4, Y7, Y7
	VANDPD  Y7, Y5, Y5
	VCMPPD  $0, toneBlock_root(DI), Y4, Y6
	VORPD   Y6, Y5, Y5
	VCMPPD  $0, toneBlock_root1(DI), Y4, Y6
	VORPD   Y6, Y5, Y5
	VMOVUPD Y1, toneBlock_m(DI)
	VMOVUPD Y9, toneBlock_u(DI)
	VMOVUPD Y10, toneBlock_v(DI)
	VMOVUPD Y5, toneBlock_grey(DI)
	NEXT

// CHANNEL sets out to a channel's light, from Y4 that of the middle cone, and Y2 and
// Y3 those of the others less it; Y5 and Y6 tell where it is y1 or stays.
#define CHANNEL(long, short, out) \
	VMULPD    long(SI), Y2, Y0             \
	VMULPD    short(SI), Y3, Y1            \
	VADDPD    Y1, Y0, Y0                   \
	VADDPD    Y0, Y4, Y0                   \
	VBLENDVPD Y5, toneBlock_y1(DI), Y0, Y0 \
	VBLENDVPD Y6, out(DI), Y0, Y0          \
	VMOVUPD   Y0, out(DI)

// func solveAVX2(b *toneBlock, p *toneLanes, n int)
// Light of luminance y1 from u, v and the guess m: hueSpace.solve and join. Where stay
// allows it, what has k of 1 and keeps its luminance stays.
TEXT ·solveAVX2(SB), NOSPLIT, $0-24
	START

loop:
	// x^3 + p x + q = 0; Y1 x, Y9 u, Y10 v, Y7 s1, Y11 p, Y4 q, Y12 room, Y13 who goes on
	VMOVUPD  toneBlock_m(DI), Y1
	VMOVUPD  toneBlock_u(DI), Y9
	VMOVUPD  toneBlock_v(DI), Y10
	VMULPD   toneLanes_wl(SI), Y9, Y2
	VMULPD   toneLanes_ws(SI), Y10, Y3
	VMULPD   Y9, Y2, Y4
	VMULPD   Y10, Y3, Y6
	VADDPD   Y3, Y2, Y7
	VADDPD   Y6, Y4, Y8
	VMULPD   Y9, Y4, Y4
	VMULPD   Y10, Y6, Y6
	VADDPD   Y6, Y4, Y4
	VMULPD   Y7, Y7, Y6
	VSUBPD   Y6, Y8, Y11
	VMULPD   toneLanes_three(SI), Y11, Y11
	VSUBPD   toneBlock_y1(DI), Y4, Y4
	VMULPD   toneLanes_three(SI), Y7, Y2
	VMULPD   Y8, Y2, Y2
	VSUBPD   Y2, Y4, Y4
	VADDPD   Y6, Y6, Y6
	VMULPD   Y7, Y6, Y6
	VADDPD   Y6, Y4, Y4
	VMOVUPD  toneBlock_y1(DI), Y12
	VMULPD   toneLanes_room(SI), Y12, Y12
	VPCMPEQQ Y13, Y13, Y13
	MOVQ     $8, AX

halley:
	VMULPD    Y1, Y1, Y2
	VMULPD    toneLanes_three(SI), Y2, Y3
	VADDPD    Y11, Y3, Y3
	VCMPPD    $0x11, Y2, Y3, Y14 // too near to where the cubic turns
	VADDPD    Y11, Y2, Y6
	VMULPD    Y1, Y6, Y6
	VADDPD    Y4, Y6, Y6
	VMULPD    Y3, Y6, Y8
	VADDPD    Y8, Y8, Y8
	VMULPD    Y3, Y3, Y3
	VADDPD    Y3, Y3, Y3
	VMULPD    Y1, Y6, Y15
	VMULPD    toneLanes_six(SI), Y15, Y15
	VSUBPD    Y15, Y3, Y3
	VDIVPD    Y3, Y8, Y8
	VSUBPD    Y8, Y1, Y8
	VORPD     Y14, Y8, Y8
	VBLENDVPD Y13, Y8, Y1, Y1
	VANDPD    toneLanes_abs(SI), Y6, Y6
	VCMPPD    $0x1e, Y12, Y6, Y6
	VANDPD    Y6, Y13, Y13
	VMOVMSKPD Y13, DX
	TESTL     DX, DX
	JEQ       join
	DECQ      AX
	JNE       halley

join:
	// Y2 and Y3 the long and short cones' light less Y4, the middle one's
	VSUBPD  Y7, Y1, Y1
	VADDPD  Y9, Y1, Y2
	VADDPD  Y10, Y1, Y3
	VMULPD  Y1, Y1, Y4
	VMULPD  Y1, Y4, Y4
	VMULPD  Y2, Y2, Y6
	VMULPD  Y2, Y6, Y2
	VSUBPD  Y4, Y2, Y2
	VMULPD  Y3, Y3, Y6
	VMULPD  Y3, Y6, Y3
	VSUBPD  Y4, Y3, Y3
	VMOVUPD toneLanes_one(SI), Y6
	VCMPPD  $0, toneBlock_k(DI), Y6, Y6
	VMOVUPD toneBlock_y1(DI), Y7
	VCMPPD  $0, toneBlock_y(DI), Y7, Y8
	VANDPD  Y8, Y6, Y6
	VANDPD  toneLanes_stay(SI), Y6, Y6
	VMOVUPD Y7, toneBlock_y(DI)
	VMOVUPD toneBlock_grey(DI), Y5
	CHANNEL(toneLanes_from00, toneLanes_from02, toneBlock_r)
	CHANNEL(toneLanes_from10, toneLanes_from12, toneBlock_g)
	CHANNEL(toneLanes_from20, toneLanes_from22, toneBlock_b)
	NEXT

// func insideAVX2(b *toneBlock, p *toneLanes, n int) (all bool)
// Red becomes NaN where a colour isn't wellInside; Y14 is where any wasn't.
TEXT ·insideAVX2(SB), NOSPLIT, $0-25
	START
	VXORPD  Y14, Y14, Y14
	VMOVUPD toneLanes_one(SI), Y15

loop:
	VMOVUPD toneBlock_y(DI), Y0
	VSUBPD  Y0, Y15, Y1
	VMULPD  toneLanes_kneeLight(SI), Y1, Y1
	VADDPD  Y1, Y0, Y1
	VMULPD  toneLanes_kneeShadow(SI), Y0, Y0
	VMOVUPD toneBlock_r(DI), Y2
	VMOVUPD toneBlock_g(DI), Y3
	VMOVUPD toneBlock_b(DI), Y4
	VCMPPD  $6, Y1, Y2, Y5
	VCMPPD  $6, Y1, Y3, Y6
	VCMPPD  $6, Y1, Y4, Y7
	VORPD   Y6, Y5, Y5
	VORPD   Y7, Y5, Y5
	VCMPPD  $9, Y0, Y2, Y6
	VCMPPD  $9, Y0, Y3, Y7
	VCMPPD  $9, Y0, Y4, Y8
	VORPD   Y7, Y6, Y6
	VORPD   Y8, Y6, Y6
	VORPD   Y6, Y5, Y5
	VMOVUPD Y2, toneBlock_red(DI)
	VORPD   Y5, Y14, Y14
	VORPD   Y5, Y2, Y2
	VMOVUPD Y2, toneBlock_r(DI)
	ADDQ    $32, DI
	SUBQ    $4, CX
	JGT     loop
	VPTEST  Y14, Y14
	SETEQ   all+24(FP)
	VZEROUPPER
	RET
