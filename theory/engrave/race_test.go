//go:build race

package engrave_test

// The race detector makes drawing thousands of pictures slow, and has nothing to find there: nothing runs at once.
const raceDetector = true
