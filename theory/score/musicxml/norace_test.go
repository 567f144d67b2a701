//go:build !race

package musicxml

const raceDetector = false
