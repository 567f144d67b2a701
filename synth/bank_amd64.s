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
