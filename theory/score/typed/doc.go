// Package typed reads and writes passages in a plain text format of our own. Start with [Read] and [Write]; an [Error] says
// where a text isn't understood and shows the line. The package plays nothing and judges nothing.
//
// What follows is the format on one page, the same text as [Help].
//
// A typed passage is a plain text, made for typing four bars from paper in two minutes.
//
//	title: A lamp by the window      # a comment: # at the start of a line, or between spaces
//	key: A major
//	meter: 4/4
//	tempo: q = 66
//
//	bar 0: upbeat
//	right: q E4
//	bars 1-2
//	right: h B3+E4+A4  q A4 B#4 | h C#5= 3(e C#5 D5 E5) q *D5 C#5
//	left:  w A2+E3+B3           | [mf] w F#2+C#3 [end]
//	left 2: .                   | [louder] h r A3
//	bar 3: meter 3/4, key D minor
//	right: [p] e D5 E5 F5 q. A5
//
// Header lines come first: title, key, meter, tempo. Only the meter is needed. A key is a tonic and a mode, or only what is
// printed: "key: 3 sharps". A meter is 6/8, 3+2/8 or free. A tempo counts one note value a minute: q. = 80.
//
// A bar line names the bars that follow as they are printed, "bar 5" or "bars 5-8", and may change the meter, key or tempo
// from there on. A number that isn't plain is quoted: bar "12-a". A single bar may also be
//
//	upbeat         short of its meter, counted from the end      short        short of its meter, counted from the start
//	length 3/8     as long as a bar of 3/8, whatever the meter   from beat 3  the rest of a bar that was cut in two
//
// Below it stands one line for each hand, its bars parted by |. A further voice has a number: "left 2:". A silent bar is a
// full stop; a hand without a line is silent. An indented line carries on the line above. In each bar each voice must fill the
// meter exactly; in a short, upbeat or free bar all voices must agree.
//
// Values stand before notes and hold until another one comes, for the rest of the line, bar after bar:
//
//	w whole  h half  q quarter  e eighth  s sixteenth  t 32nd  x 64th  y 128th  z 256th  ww double whole; dots: q. q..
//	C#4 Bb3 Fx5 Ebb4   a note: letter (capital or small), signs # b x or ♯ ♭, octave; middle C is C4
//	C4+E4+G4           a chord             r      a rest
//	C4=                a note held on into the next one of its pitch in that voice; C4+E4== holds on the whole chord
//	=C4                a note held on from elsewhere: from before the passage, or from another voice
//	C4=?               a tie whose other end isn't in the passage
//	3in2(e C4 D4 E4)   three in the time of two of the same value; may be nested. 3( 5( 6( 7( stand for 3in2 5in4 6in4 7in4,
//	                   2( and 4( for 2in3 and 4in3
//	*D5 C5   */D5 C5   a grace note, plain and with a slash, before the note it decorates; *D5+F5 struck together
//	C5 *>D5 *>E5       grace notes that end the note before them; *+F5 is struck together with the grace note before it
//	~C4                a cue note: printed, not played
//
// Brackets hold marks for the moment where they stand:
//
//	[p] [mf] [sfz] ["poco f"]            dynamics, for both hands; [left p] and [right p] for one
//	[louder] [softer] [end]              a hairpin, to its [end] or the next mark
//	[louder for 3/4]                     a hairpin as long as a bar of 3/4
//	[key D minor] [tempo q = 60]         a change within a bar
//	[ped] [ped change] [ped up]          the right pedal; [sostenuto] is the middle one, let go by [ped up]
//	[chord F#m7/C] [chord N.C.]          a chord symbol; in full: [chord "V" dominant "7" with "add b9" inversion 1 over C]
//	[repeat from here] ... [repeat]      repeats: [repeat 3 times], [repeat also after a jump]
//	[ending 1] ... [ending end]          endings: [ending 1, 2], [ending 2 "2nd time"]; [ending left open] has no closing hook
//	[da capo] [dal segno al fine]        jumps, with what is printed in quotes if it is something else; their goals are [segno],
//	[to coda] [fine]                     [coda]; where there are several: [dal segno called B], [segno called B]
//
// A sign of a repeat, an ending or a jump belongs to the bar in which it is written: [repeat] stands before the | and [repeat
// from here] after it. Where a mark falls on no note, a line "between:" holds rests and marks only. "right+:" gives further notes
// of the same voice, where notes of different length start together; these two lines may stop before the bar ends.
package typed

import _ "embed"

// Help is the description of the format on one page, for a command line to print: the text of format.txt.
//
//go:embed format.txt
var Help string
