#include "textflag.h"

// func cpuid1() uint32
TEXT ·cpuid1(SB), NOSPLIT, $0-4
	MOVL $1, AX
	XORL CX, CX
	CPUID
	MOVL CX, ret+0(FP)
	RET

// func xgetbv0() uint32
TEXT ·xgetbv0(SB), NOSPLIT, $0-4
	XORL CX, CX
	XGETBV
	MOVL AX, ret+0(FP)
	RET

// func addBankAVX(dst *float64, eights int, bank *oscillator, fours int)
//
// Four oscillators at a time, so that the additions to dst are loaded and stored once for all four and the chains of one
// hide the waiting of another. An oscillator is 128 bytes: c, d, a, b. Y0 to Y3 hold c, Y4 to Y7 a, Y8 to Y11 b; d is read
// from memory.
TEXT ·addBankAVX(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ eights+8(FP), CX
	MOVQ bank+16(FP), SI
	MOVQ fours+24(FP), DX

four:
	VMOVUPD 0(SI), Y0
	VMOVUPD 128(SI), Y1
	VMOVUPD 256(SI), Y2
	VMOVUPD 384(SI), Y3
	VMOVUPD 64(SI), Y4
	VMOVUPD 192(SI), Y5
	VMOVUPD 320(SI), Y6
	VMOVUPD 448(SI), Y7
	VMOVUPD 96(SI), Y8
	VMOVUPD 224(SI), Y9
	VMOVUPD 352(SI), Y10
	VMOVUPD 480(SI), Y11
	MOVQ DI, R8
	MOVQ CX, R9

eight:
	VMOVUPD 0(R8), Y12
	VMULPD Y4, Y0, Y13       // c a
	VMULPD 32(SI), Y8, Y8 // d b
	VSUBPD Y8, Y13, Y8      // c a - d b
	VADDPD Y8, Y12, Y12
	VMULPD Y5, Y1, Y14       // c a
	VMULPD 160(SI), Y9, Y9 // d b
	VSUBPD Y9, Y14, Y9      // c a - d b
	VADDPD Y9, Y12, Y12
	VMULPD Y6, Y2, Y15       // c a
	VMULPD 288(SI), Y10, Y10 // d b
	VSUBPD Y10, Y15, Y10      // c a - d b
	VADDPD Y10, Y12, Y12
	VMULPD Y7, Y3, Y13       // c a
	VMULPD 416(SI), Y11, Y11 // d b
	VSUBPD Y11, Y13, Y11      // c a - d b
	VADDPD Y11, Y12, Y12
	VMOVUPD Y12, 0(R8)
	VMOVUPD 32(R8), Y12
	VMULPD Y8, Y0, Y13       // c a
	VMULPD 32(SI), Y4, Y4 // d b
	VSUBPD Y4, Y13, Y4      // c a - d b
	VADDPD Y4, Y12, Y12
	VMULPD Y9, Y1, Y14       // c a
	VMULPD 160(SI), Y5, Y5 // d b
	VSUBPD Y5, Y14, Y5      // c a - d b
	VADDPD Y5, Y12, Y12
	VMULPD Y10, Y2, Y15       // c a
	VMULPD 288(SI), Y6, Y6 // d b
	VSUBPD Y6, Y15, Y6      // c a - d b
	VADDPD Y6, Y12, Y12
	VMULPD Y11, Y3, Y13       // c a
	VMULPD 416(SI), Y7, Y7 // d b
	VSUBPD Y7, Y13, Y7      // c a - d b
	VADDPD Y7, Y12, Y12
	VMOVUPD Y12, 32(R8)
	ADDQ $64, R8
	DECQ R9
	JNZ eight

	VMOVUPD Y4, 64(SI)
	VMOVUPD Y5, 192(SI)
	VMOVUPD Y6, 320(SI)
	VMOVUPD Y7, 448(SI)
	VMOVUPD Y8, 96(SI)
	VMOVUPD Y9, 224(SI)
	VMOVUPD Y10, 352(SI)
	VMOVUPD Y11, 480(SI)
	ADDQ $512, SI
	DECQ DX
	JNZ four
	VZEROUPPER
	RET

// func kRunAVX(samples *float32, frames int, f *kFilter)
//
// One frame at a time, left and right side by side. A number of the filter is 16 bytes: b0 b1 b2 a1 a2 c1 c2 x1 x2 y1 y2 d1 z1
// z2 sum. X0 holds b0, X1 b1, X2 a1, X3 c1, X4 to X10 x1 x2 y1 y2 d1 z1 z2, X11 the sum; the rest is read from memory.
TEXT ·kRunAVX(SB), NOSPLIT, $0-24
	MOVQ samples+0(FP), SI
	MOVQ frames+8(FP), CX
	MOVQ f+16(FP), DI
	VMOVUPD 0(DI), X0
	VMOVUPD 16(DI), X1
	VMOVUPD 48(DI), X2
	VMOVUPD 80(DI), X3
	VMOVUPD 112(DI), X4
	VMOVUPD 128(DI), X5
	VMOVUPD 144(DI), X6
	VMOVUPD 160(DI), X7
	VMOVUPD 176(DI), X8
	VMOVUPD 192(DI), X9
	VMOVUPD 208(DI), X10
	VMOVUPD 224(DI), X11

frame:
	VCVTPS2PD 0(SI), X12      // x
	VMULPD X12, X0, X13       // b0 x
	VMULPD X4, X1, X14        // b1 x1
	VADDPD X14, X13, X13
	VMULPD 32(DI), X5, X14    // b2 x2
	VADDPD X14, X13, X13
	VMULPD 64(DI), X7, X14    // a2 y2
	VSUBPD X14, X13, X13
	VMULPD X6, X2, X14        // a1 y1
	VSUBPD X14, X13, X13      // y
	VMOVAPD X4, X5
	VMOVAPD X12, X4
	VSUBPD X6, X13, X15       // d = y - y1
	VMOVAPD X6, X7
	VMOVAPD X13, X6
	VSUBPD X8, X15, X13       // d - d1
	VMOVAPD X15, X8
	VMULPD 96(DI), X10, X14   // c2 z2
	VSUBPD X14, X13, X13
	VMULPD X9, X3, X14        // c1 z1
	VSUBPD X14, X13, X13      // z
	VMOVAPD X9, X10
	VMOVAPD X13, X9
	VMULPD X13, X13, X13
	VADDPD X13, X11, X11
	ADDQ $8, SI
	DECQ CX
	JNZ frame

	VMOVUPD X4, 112(DI)
	VMOVUPD X5, 128(DI)
	VMOVUPD X6, 144(DI)
	VMOVUPD X7, 160(DI)
	VMOVUPD X8, 176(DI)
	VMOVUPD X9, 192(DI)
	VMOVUPD X10, 208(DI)
	VMOVUPD X11, 224(DI)
	RET
