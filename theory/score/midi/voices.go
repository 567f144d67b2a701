package midi

import (
	"cmp"
	"container/heap"
	"slices"

	"plumbline/theory/score"
)

// voices gives each note a voice within its hand, so that no voice has more than one chord at a time. Chords come in order
// of onset, those at one onset from high to low; each goes to the first voice that is free.
func (b *builder) voices() {
	for _, hand := range []score.Hand{score.Right, score.Left} {
		v := &voicing{notes: b.notes, at: map[int64]int32{}}
		for i := range b.notes {
			if b.notes[i].hand != hand {
				continue
			}
			if len(v.members) > 0 && b.notes[v.members[0]].on != b.notes[i].on {
				v.assign()
			}
			v.members = append(v.members, int32(i))
		}
		v.assign()
	}
}

// A voicing is one hand's voices, at the onset that has been reached.
type voicing struct {
	notes   []note
	members []int32 // the notes that begin here, from low to high
	chords  []chord
	at      map[int64]int32 // the last chord with an end
	busy    busyVoices
	free    freeVoices
	count   int32
}

// A chord is some of the members, by index from the top one down.
type chord struct {
	off   int64
	key   uint8 // of the top note
	voice int32
}

func (v *voicing) assign() {
	if len(v.members) == 0 {
		return
	}
	on := v.notes[v.members[0]].on
	for len(v.busy) > 0 && v.busy[0].until <= on {
		heap.Push(&v.free, heap.Pop(&v.busy).(busyVoice).voice)
	}
	if len(v.members) == 1 { // the usual case, in short
		n := &v.notes[v.members[0]]
		n.voice = int16(min(v.take(n.off), 32000))
		v.members = v.members[:0]
		return
	}
	clear(v.at)
	v.chords = v.chords[:0]
	last := map[int32]uint8{} // the lowest key of each chord so far
	for _, i := range slices.Backward(v.members) {
		n := &v.notes[i]
		k, ok := v.at[n.off]
		if !ok || last[k] == n.key { // one key twice is two voices
			k = int32(len(v.chords))
			v.chords = append(v.chords, chord{n.off, n.key, v.take(n.off)})
			v.at[n.off] = k
		}
		last[k] = n.key
		n.voice = int16(min(v.chords[k].voice, 32000))
	}
	v.members = v.members[:0]
}

// take returns the first voice that is free, from 1, and keeps it until off.
func (v *voicing) take(off int64) int32 {
	var n int32
	if len(v.free) > 0 {
		n = heap.Pop(&v.free).(int32)
	} else {
		v.count++
		n = v.count
	}
	heap.Push(&v.busy, busyVoice{off, n})
	return n
}

type busyVoice struct {
	until int64
	voice int32
}

// busyVoices is a heap: the voice that is free first comes first.
type busyVoices []busyVoice

func (h busyVoices) Len() int           { return len(h) }
func (h busyVoices) Less(i, j int) bool { return h[i].until < h[j].until }
func (h busyVoices) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *busyVoices) Push(x any)        { *h = append(*h, x.(busyVoice)) }
func (h *busyVoices) Pop() any {
	x := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return x
}

// freeVoices is a heap: the lowest number comes first.
type freeVoices []int32

func (h freeVoices) Len() int           { return len(h) }
func (h freeVoices) Less(i, j int) bool { return cmp.Less(h[i], h[j]) }
func (h freeVoices) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *freeVoices) Push(x any)        { *h = append(*h, x.(int32)) }
func (h *freeVoices) Pop() any {
	x := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return x
}
