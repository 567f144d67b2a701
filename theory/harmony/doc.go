// Package harmony reads the chords of a passage in their context: where they change, what each is, in which key and to what end,
// which notes are foreign to them and where those go; and it judges what an analyst says of a stretch of music.
//
// # Where to start
//
//	a := harmony.Analyze(passage)        // the passage divided into spans, each with its readings; tables that ship
//	b, i := a.With(from, to)             // the same with the stretch from <= t < to read as one span: its chord is b.Chord(i)
//	a := harmony.Read(passage, spans)    // spans given by the analyst
//	m := harmony.NewOf(passage, notes)   // a part of the texture only (one hand); then m.Analyze()
//	m.Declare(k)                         // the analyst says the key; else signatures and declared keys of the passage count
//
// An [Analysis] has its Spans in order of time. For span i:
//
//	a.Spans[i].Readings      chords with their probabilities, the likeliest first; a.Chord(i) is the first, false if nothing sounds
//	a.Spans[i].Key           the key there
//	a.Role(i)                Roman numeral (package key), function, colouring, cadential six-four, and why
//	a.Why(i)                 what speaks for the first reading, what against it, the runner-up, in words
//	a.Judge(i, Said{…})      a claim "is CHORD" or "bass is": does it fail, is it arguable, because, instead
//	a.ForeignNotes(i)        non-chord tones: kind, approach, departure, what each decorates, where it goes
//	a.Tendencies(i)          sevenths, leading tones, raised fourths …, each with where it goes
//
// Of the whole:
//
//	a.Home()                 the main key; a.Areas() the keys one after the other; a.Tonicizations() degrees that are tonics in passing
//	a.Doubt()                    whether the notes speak against the declared key
//	a.Cadences(), a.Pedals() closes, and bass notes that stay
//	a.Mixture(from, to, tonic)   major and minor on one tonic: the notes that belong to only one of them
//	a.Alternation(from, to)      how tonic and dominant take turns
//	a.Resolution(note)           where one note goes, and whether as its tendency asks
//	a.At(t), a.Overlapping(from, to)   the spans at a moment, in a stretch
//
// [Classify] names a non-chord tone from its approach and departure alone, as the handbooks' exercises ask.
//
// # How a chord is found
//
// Three readings, one on the other. The first weighs each span with the notes around it: some thirty profiles (how long each
// class sounds, in which metric places, in the bass, struck or held, moving on by step or not, before and after, earlier in the
// bar …) are held against each candidate chord, with weights that are tied by the part a class would play in it (log-linear). The
// second knows what the first thinks of the neighbours, the key and the rest of the passage (log-linear). The third holds the
// likeliest few against the notes as claims are held, by a forest of small decision trees.
//
// Keys are the likeliest course (Viterbi) of twenty-five tonics in major and minor, by what chords and notes are usual in a key, by
// a learned weighing of chords, basses and steps of the roots in narrow surroundings, and by what the source says (signature,
// declared key). Where chords change, if no spans are given, is found over the beats by the same kind of search, with a forest
// that says how likely a change is between two beats. All of it is exact search over small tables; [Analysis.Why] adds up what each
// ground weighs.
//
// # The judge
//
// A claim fails if a forest of small decision trees, asked about the claim and the notes (which members are missing, what sounds
// in their place, what the bass is, what the recognizer thinks), gives odds below a fixed threshold. A claim whose members all
// sound and whose bass is at some time the lowest note never fails: if another reading is likelier it is arguable.
//
// # Where the tables come from
//
// tables/harmony.tsv is learned by cmd/corpuscheck (the command stands in its header) from "An annotated corpus of tonal piano
// music from the long 19th century" (Hentschel, Rammos, Neuwirth, Moss, Rohrmeier, Empirical Musicology Review 18(1), 2024), sets
// grieg_lyric_pieces and chopin_mazurkas: 121 pieces, 16,836 labels. It holds weights only, no note and no label. Slips that the
// judge learns from are of our own making. Conventions follow that corpus: a cadential six-four is the dominant, German and
// Italian sixths are rooted on the raised fourth degree, French ones on the supertonic.
//
// # What it doesn't do
//
// Added sixths, ninths and the like never change root or quality here; package chord names them. Music without tertian chords gets
// readings of low probability. Modes other than major and minor are not told apart.
package harmony
