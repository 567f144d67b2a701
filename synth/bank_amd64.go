package synth

// addBank adds the next len(dst) samples of all oscillators to dst, as addBankGo does; len(dst) is a multiple of 8 and
// len(bank) of 4. The samples are the same to the last bit: the vector instructions do the same operations in the same order,
// none of them fused, only four at a time.
func addBank(dst []float64, bank []oscillator) {
	if len(dst) == 0 || len(bank) == 0 {
		return
	}
	if !hasAVX {
		addBankGo(dst, bank)
		return
	}
	addBankAVX(&dst[0], len(dst)/8, &bank[0], len(bank)/4)
}

// run is runGo, both channels at a time, with the same samples to the last bit; len(samples) is even.
func (f *kFilter) run(samples []float32) {
	if !hasAVX || len(samples) == 0 {
		f.runGo(samples)
		return
	}
	kRunAVX(&samples[0], len(samples)/2, f)
}

// hasAVX tells whether processor and operating system keep the wide registers (Intel 64 and IA-32 Architectures Software
// Developer's Manual, volume 1, 14.3; from memory).
var hasAVX = detectAVX()

func detectAVX() bool {
	const osxsave, avx = 1 << 27, 1 << 28
	if ecx := cpuid1(); ecx&osxsave == 0 || ecx&avx == 0 {
		return false
	}
	const sse, wide = 1 << 1, 1 << 2
	return xgetbv0()&(sse|wide) == sse|wide
}

//go:noescape
func addBankAVX(dst *float64, eights int, bank *oscillator, fours int)

//go:noescape
func kRunAVX(samples *float32, frames int, f *kFilter)

// cpuid1 returns ECX of CPUID leaf 1.
func cpuid1() uint32

// xgetbv0 returns the low half of XCR0. It may be called only if CPUID tells OSXSAVE.
func xgetbv0() uint32
