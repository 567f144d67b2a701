package line

import (
	"slices"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// maxVoices is how many voices one hand has at most, as in print.
const maxVoices = 4

// Prices of a separation. What is weighed is Kilian & Hoos's: pitch distance, gap, chord and overlap; the amounts were set by
// measuring on one set of the annotated corpus (Grieg) and are held against the other (Chopin) in the tests.
const (
	pricePitch     = 1   // a semitone between a voice's last note and its next
	priceGap       = 1   // a quarter note of silence in between, four at most
	priceNew       = 65  // a voice that begins, or begins again after more than a bar
	priceSlot      = 40  // each place below the first
	priceChord     = 3   // a semitone between the outer notes of a chord
	priceIrregular = 380 // notes of unlike length in one chord
	priceAhead     = 110 // a voice above which another note will be struck takes the first place, or the other way round
	priceCross     = 40  // voices that cross
	priceOverlap   = 480 // a note struck while its own voice still sounds
)

// Separate divides the notes of one hand into voices and returns for each note its voice, counted from 1 for the highest, at
// most four; 0 for a grace note or a note without duration. Notes must be in order of onset; they may be written or sounding.
// A voice may have chords: notes struck together that last equally long. Two notes of one voice overlap only if more than
// four voices would be needed.
//
// The cost function is that of J. Kilian and H. H. Hoos, "Voice separation: a local optimisation approach" (ISMIR 2002):
// pitch distance, gaps, chords and overlap, minimized one onset after the other. Where they search at random, this tries
// all divisions that keep the order of the voices, which are few for one hand; it looks ahead only so far as to see what will
// be struck while a note still sounds. It takes time in proportion to the number of notes.
func Separate(notes []score.Note) []int {
	voice := make([]int, len(notes))
	ahead := lookAhead(notes)
	type slot struct {
		used   bool
		hi, lo int // MIDI numbers of the last chord
		end    score.Time
		bar    int
	}
	var slots [maxVoices]slot
	for i := 0; i < len(notes); {
		var group []int
		at := notes[i].Onset
		for ; i < len(notes) && notes[i].Onset == at; i++ {
			if notes[i].Grace == score.NoGrace && notes[i].Duration.Sign() > 0 {
				group = append(group, i)
			}
		}
		if len(group) == 0 {
			continue
		}
		slices.SortStableFunc(group, func(a, b int) int { return notes[b].Pitch.Compare(notes[a].Pitch) })
		// best[k][s]: the least cost of the k highest notes, all in places above s.
		k := len(group)
		const far = 1 << 40
		best := make([][maxVoices + 1]int, k+1)
		type step struct{ k, s int }
		from := make([][maxVoices + 1]step, k+1)
		for a := range best {
			for s := range best[a] {
				best[a][s] = far
			}
		}
		best[0][0] = 0
		for s := range maxVoices {
			sl := slots[s]
			for a := 0; a <= k; a++ {
				if best[a][s] == far {
					continue
				}
				if best[a][s] < best[a][s+1] { // the place stays empty
					best[a][s+1], from[a][s+1] = best[a][s], step{a, s}
				}
				for b := a + 1; b <= k; b++ { // it takes notes a to b-1
					hi, lo := notes[group[a]].Pitch.MIDI(), notes[group[b-1]].Pitch.MIDI()
					c := best[a][s] + priceSlot*s + priceChord*(hi-lo)
					for x := a; x < b; x++ {
						n := group[x]
						if notes[n].Duration != notes[group[a]].Duration {
							c += priceIrregular
						}
						if ahead[n].above && s == 0 || ahead[n].below && !ahead[n].above && s > 0 {
							c += priceAhead
						}
					}
					gap := at.Sub(sl.end)
					switch {
					case !sl.used || notes[group[a]].Bar > sl.bar+1 || score.Quarters(4).Less(gap):
						c += priceNew
					case gap.Sign() < 0:
						c += priceOverlap
					default:
						c += pricePitch*nearest(hi, lo, sl.hi, sl.lo) + int(priceGap*gap.Float())
					}
					for t := range slots { // voices that sound on
						if o := slots[t]; o.used && at.Less(o.end) && (t < s && hi > o.lo || t > s && lo < o.hi) {
							c += priceCross
						}
					}
					if c < best[b][s+1] {
						best[b][s+1], from[b][s+1] = c, step{a, s}
					}
				}
			}
		}
		for a, s := k, maxVoices; s > 0; {
			f := from[a][s]
			if f.k < a {
				sl := &slots[f.s]
				sl.used, sl.bar = true, notes[group[f.k]].Bar
				sl.hi, sl.lo = notes[group[f.k]].Pitch.MIDI(), notes[group[a-1]].Pitch.MIDI()
				sl.end = at
				for x := f.k; x < a; x++ {
					voice[group[x]] = f.s + 1
					sl.end = sl.end.Max(notes[group[x]].End())
				}
			}
			a, s = f.k, f.s
		}
	}
	return voice
}

// nearest is the distance between two chords given by their outer notes: that of the upper ones or the lower ones, the
// smaller.
func nearest(hi, lo, hi2, lo2 int) int {
	return min(max(hi-hi2, hi2-hi), max(lo-lo2, lo2-lo))
}

// A seen tells what is struck while a note sounds.
type seen struct{ above, below bool }

func lookAhead(notes []score.Note) []seen {
	out := make([]seen, len(notes))
	for i, n := range notes {
		for j := i + 1; j < len(notes) && j < i+64 && notes[j].Onset.Less(n.End()); j++ {
			m := notes[j]
			if m.Onset == n.Onset || m.Grace != score.NoGrace || m.Duration.Sign() <= 0 {
				continue
			}
			if m.Pitch.Compare(n.Pitch) > 0 {
				out[i].above = true
			} else {
				out[i].below = true
			}
		}
	}
	return out
}

// Voiced reports whether the score says which notes of a hand belong to which voice: it has more than one voice, or none is
// needed, since no two notes of the one voice overlap but those struck together for the same time.
func Voiced(notes []score.Note) bool {
	voice := 0
	var end, last score.Time
	for _, n := range notes {
		if n.Grace != score.NoGrace || n.Duration.Sign() <= 0 {
			continue
		}
		if voice != 0 && n.Voice != voice {
			return true
		}
		voice = n.Voice
		if n.Onset.Less(end) && !(n.Onset == last && n.End() == end) {
			return false
		}
		end, last = n.End(), n.Onset
	}
	return true
}

// A Voice is one voice of a hand. It may have chords.
type Voice struct {
	Hand    score.Hand
	Number  int // within its hand, from 1
	Notes   []score.Note
	Guessed bool // separated by [Separate]; the score doesn't say
}

// Line returns the upper notes of v, one at a time.
func (v Voice) Line() Line {
	var l Line
	for _, n := range v.Notes {
		if n.Grace != score.NoGrace || n.Duration.Sign() <= 0 {
			continue
		}
		if k := len(l) - 1; k >= 0 && l[k].Onset == n.Onset {
			if n.Pitch.Compare(l[k].Pitch) > 0 {
				l[k] = n
			}
			continue
		}
		l = append(l, n)
	}
	return l
}

// Voices returns the voices that sound in a region, the right hand's first and in each hand from the highest on: as the score
// says or, in a hand where it doesn't (see [Voiced]), as [Separate] finds. A region of one hand gives the voices of that hand.
func Voices(sounding []score.Note, r score.Region) []Voice {
	var out []Voice
	for _, h := range []score.Hand{score.Right, score.Left} {
		var notes []score.Note
		for _, n := range r.Select(sounding) {
			if n.Hand == h {
				notes = append(notes, n)
			}
		}
		guessed := !Voiced(notes)
		number := make([]int, len(notes))
		if guessed {
			number = Separate(notes)
		} else {
			for i, n := range notes {
				number[i] = n.Voice
			}
		}
		by := map[int]int{}
		var mine []Voice
		for i, n := range notes {
			if guessed && number[i] == 0 {
				continue
			}
			k, ok := by[number[i]]
			if !ok {
				k = len(mine)
				by[number[i]] = k
				mine = append(mine, Voice{Hand: h, Number: number[i], Guessed: guessed})
			}
			mine[k].Notes = append(mine[k].Notes, n)
		}
		slices.SortStableFunc(mine, func(a, b Voice) int { return a.Number - b.Number })
		out = append(out, mine...)
	}
	return out
}

// span returns the lowest and the highest pitch of l.
func (l Line) span() (low, high pitch.Pitch) {
	for i, n := range l {
		if i == 0 || n.Pitch.Compare(low) < 0 {
			low = n.Pitch
		}
		if i == 0 || n.Pitch.Compare(high) > 0 {
			high = n.Pitch
		}
	}
	return low, high
}
