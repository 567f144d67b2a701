//go:build race

package musicxml

// The race detector makes reading tens of megabytes slow, and has nothing to find there: nothing runs at once.
const raceDetector = true
