//go:build !amd64

package synth

func addBank(dst []float64, bank []oscillator) { addBankGo(dst, bank) }
