// What the functions of tone_amd64.s share.

// ROOT sets y to the cube root of x (cubeRoot), NaN beyond the table, whose place is
// R9: the entry after the last is NaN, and places before the first are, without their
// sign, after the last. Y10 to Y15 but Y12, AX, DX, R10 and R11 are lost.
#define ROOT(x, y) \
	VANDPD       toneLanes_rootPiece(SI), x, Y10  \
	VPSRLQ       $(const_rootShift-4), Y10, Y11   \
	VPSUBQ       toneLanes_rootFirst(SI), Y11, Y11 \
	VPMINUD      toneLanes_rootLast(SI), Y11, Y11 \
	VMOVQ        X11, AX                          \
	VPEXTRQ      $1, X11, DX                      \
	VEXTRACTI128 $1, Y11, X13                     \
	VMOVQ        X13, R10                         \
	VPEXTRQ      $1, X13, R11                     \
	VMOVUPD      (R9)(AX*1), X13                  \
	VINSERTF128  $1, (R9)(R10*1), Y13, Y13        \
	VMOVUPD      (R9)(DX*1), X14                  \
	VINSERTF128  $1, (R9)(R11*1), Y14, Y14        \
	VUNPCKLPD    Y14, Y13, Y15 \
	VUNPCKHPD    Y14, Y13, Y13 \
	VSUBPD       Y10, x, Y10                      \
	VMULPD       Y10, Y13, Y13                    \
	VADDPD       Y13, Y15, Y15 \
	VMULPD       Y15, Y15, Y13                    \
	VMULPD       Y15, Y13, Y13 \
	VADDPD       x, x, Y10                        \
	VADDPD       Y10, Y13, Y10                    \
	VADDPD       Y13, Y13, Y13                    \
	VADDPD       x, Y13, Y13                      \
	VDIVPD       Y13, Y10, Y10                    \
	VMULPD       Y10, Y15, y

// BLACK makes the root of 0 0.
#define BLACK(x, y) \
	VXORPD  Y10, Y10, Y10     \
	VCMPPD  $0, Y10, x, Y10   \
	VANDNPD y, Y10, y

// NEXT goes on with four more pixels.
#define NEXT \
	ADDQ $32, DI \
	SUBQ $4, CX  \
	JGT  loop    \
	VZEROUPPER   \
	RET

#define START \
	MOVQ b+0(FP), DI \
	MOVQ p+8(FP), SI \
	MOVQ n+16(FP), CX
