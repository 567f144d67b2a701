//go:build !amd64

package synth

func addBank(dst []float64, bank []oscillator) { addBankGo(dst, bank) }

func (f *kFilter) run(samples []float32) { f.runGo(samples) }
