package midi

import (
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
	busy    []busyVoice     // a heap: the one that is free first comes first
	free    []int32         // a heap: the lowest number comes first
	count   int32
}

// A chord is some of the members.
type chord struct {
	off   int64
	voice int32
	low   uint8 // the lowest key so far
}

func (v *voicing) assign() {
	if len(v.members) == 0 {
		return
	}
	on := v.notes[v.members[0]].on
	for len(v.busy) > 0 && v.busy[0].until <= on {
		var b busyVoice
		b, v.busy = pop(v.busy, sooner)
		v.free = push(v.free, b.voice, lower)
	}
	clear(v.at)
	v.chords = v.chords[:0]
	for _, i := range slices.Backward(v.members) {
		n := &v.notes[i]
		k := int32(len(v.chords)) - 1
		ok := k >= 0 && v.chords[k].off == n.off
		if !ok && k >= 0 {
			k, ok = v.at[n.off]
		}
		if !ok || v.chords[k].low == n.key { // one key twice is two voices
			k = int32(len(v.chords))
			v.chords = append(v.chords, chord{off: n.off, voice: v.take(n.off)})
			if len(v.members) > 1 {
				v.at[n.off] = k
			}
		}
		v.chords[k].low = n.key
		n.voice = int16(min(v.chords[k].voice, 32000))
	}
	v.members = v.members[:0]
}

// take returns the first voice that is free, from 1, and keeps it until off.
func (v *voicing) take(off int64) int32 {
	var n int32
	if len(v.free) > 0 {
		n, v.free = pop(v.free, lower)
	} else {
		v.count++
		n = v.count
	}
	v.busy = push(v.busy, busyVoice{off, n}, sooner)
	return n
}

type busyVoice struct {
	until int64
	voice int32
}

func sooner(a, b busyVoice) bool { return a.until < b.until }
func lower(a, b int32) bool      { return a < b }

// push and pop keep the least of h in front, as container/heap does, without an allocation each.
func push[T any](h []T, x T, less func(a, b T) bool) []T {
	h = append(h, x)
	for i := len(h) - 1; i > 0 && less(h[i], h[(i-1)/2]); i = (i - 1) / 2 {
		h[i], h[(i-1)/2] = h[(i-1)/2], h[i]
	}
	return h
}

func pop[T any](h []T, less func(a, b T) bool) (T, []T) {
	top, n := h[0], len(h)-1
	h[0] = h[n]
	h = h[:n]
	for i := 0; ; {
		c := 2*i + 1
		if c+1 < n && less(h[c+1], h[c]) {
			c++
		}
		if c >= n || !less(h[c], h[i]) {
			return top, h
		}
		h[i], h[c] = h[c], h[i]
		i = c
	}
}
