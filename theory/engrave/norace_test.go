//go:build !race

package engrave_test

const raceDetector = false
