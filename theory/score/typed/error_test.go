package typed

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/iotest"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// TestErrors has every message with its place. What stands before the colon of "body" is put below a meter of 4/4, so that
// the body begins in line 2.
func TestErrors(t *testing.T) {
	for _, c := range []struct{ body, want string }{
		// notes
		{"bar 3\nright: q H4", `bar 3, right hand (line 3:10): unknown pitch "H4"; letters are A to G`},
		{"bar 3\nright: q c d e", `bar 3, right hand (line 3:10): unknown pitch "c": the octave is missing (middle C is C4)`},
		{"bar 3\nleft 2: q C#x##4", `bar 3, left hand, voice 2 (line 3:11): unknown pitch "C#x##4": more than three sharps or flats`},
		{"bar 3\nleft: q Cb#4", `bar 3, left hand (line 3:9): unknown pitch "Cb#4": its signs contradict each other`},
		{"bar 3\nleft: q C13", `bar 3, left hand (line 3:9): unknown pitch "C13": octave 13 is outside -2 to 12`},
		{"bar 3\nleft: q C4,E4", `bar 3, left hand (line 3:9): unknown pitch "C4,E4": found "4,E4" where the octave number belongs`},
		{"bar 3\nleft: qA4", `bar 3, left hand (line 3:7): a space is missing between value and note: "q A4"`},
		{"bar 3\nleft: q..bb4", `bar 3, left hand (line 3:7): a space is missing between value and note: "q.. bb4"`},
		{"bar 3\nright: q C4+H4", `bar 3, right hand (line 3:13): unknown pitch "H4"; letters are A to G`},
		{"bar 3\nright: q C4+♯H4", `bar 3, right hand (line 3:13): unknown pitch "♯H4"; letters are A to G`},
		{"bar 3\nright: q C♯4 D♯4 H4", `bar 3, right hand (line 3:18): unknown pitch "H4"; letters are A to G`},
		{"bar 3\nright: q C4 + E4", `bar 3, right hand (line 3:13): a + without a note beside it; a chord is written without spaces: C4+E4+G4`},
		{"bar 3\nright: q C4++E4", `bar 3, right hand (line 3:13): a + without a note beside it; a chord is written without spaces: C4+E4+G4`},
		{"bar 3\nright: q C4+E4+C4", `bar 3, right hand (line 3:16): C4 is twice in the chord`},
		{"bar 3\nright: q */ C4", `bar 3, right hand (line 3:12): found "*/" without a note`},
		{"bar 3\nright: q == C4", `bar 3, right hand (line 3:10): found "==" without a note`},
		{"bar 3\nright: C4", `bar 3, right hand (line 3:8): no value before "C4"; write one of w h q e s t before it`},
		{"bar 3\nright: r", `bar 3, right hand (line 3:8): no value before "r"; write one of w h q e s t before it`},
		{"bar 3\nright: w C4\nbar 4\nright: C4", `bar 4, right hand (line 5:8): no value before "C4"; write one of w h q e s t before it`},
		// ties
		{"bar 3\nright: h C4= D4", `bar 3, right hand (line 3:10): the tie of C4 leads nowhere: no C4 begins in this voice where it ends (bar 3 beat 3); if it goes on in another voice, write =C4 there`},
		{"bar 3\nright: q C4+E4== E4 h r", `bar 3, right hand (line 3:10): the tie of C4 leads nowhere: no C4 begins in this voice where it ends (bar 3 beat 2); if it goes on in another voice, write =C4 there`},
		{"bar 3\nright: h C4= r\nleft: h r C4", `bar 3, right hand (line 3:10): the tie of C4 leads nowhere: no C4 begins in this voice where it ends (bar 3 beat 3); if it goes on in another voice, write =C4 there`},
		// tuplets
		{"bar 3\nright: 3in2 (e C4 D4 E4)", `bar 3, right hand (line 3:8): found "3in2" where a note belongs; a tuplet is written 3in2(e C5 D5 E5), without a space before the bracket`},
		{"bar 3\nright: (e C4 D4 E4)", `bar 3, right hand (line 3:8): a round bracket without figures; a tuplet is written 3in2(e C5 D5 E5)`},
		{"bar 3\nright: 3on2(e C4 D4 E4)", `bar 3, right hand (line 3:8): found "3on2" before a round bracket; a tuplet is written 3in2(e C5 D5 E5)`},
		{"bar 3\nright: 0in2(e C4 D4 E4)", `bar 3, right hand (line 3:8): found "0in2" before a round bracket; a tuplet is written 3in2(e C5 D5 E5)`},
		{"bar 3\nright: 9(e C4 D4 E4)", `bar 3, right hand (line 3:8): 9 in the time of how many? write, for instance, 9in8(`},
		{"bar 3\nright: q 3(e C4 D4 E4 | q E4", `bar 3, right hand (line 3:23): a bar too many: bar 3 above says 1 bar`},
		{"bar 3\nright: h C4 3(e C4 D4 E4 ", `bar 3, right hand (line 3:13): the tuplet is not closed before the end of the bar`},
		{"bar 3\nright: h C4 ) D4", `bar 3, right hand (line 3:13): a ) without its (`},
		{"bar 3\nright: 50000000in3(q C4)", `bar 3, right hand (line 3:8): 50000000in3: out of range`},
		{"bar 3\nright: 1in50000000(q C4)", `bar 3, right hand (line 3:8): 1in50000000: out of range`},
		{"bar 3\nright: 1000in3(1007in3(z C4))", `bar 3, right hand (line 3:26): times out of range: too long, or too small parts of a beat`},
		{"bar 3\nright: 1009in3(1021in3(1013in3(q C4)))", `bar 3, right hand (line 3:24): 1013in3: out of range`},
		{"bar 3\nright: 3(3(3(3(3(3(3(3(3(z C4)))))))))", `bar 3, right hand (line 3:24): more than 8 tuplets inside one another`},
		// how full bars are
		{"bar 3\nright: q C4 D4 E4", `bar 3, right hand (line 3:18): the bar is too short: 3 quarter notes; 4/4 wants 4`},
		{"bars 3-4\nright: q C4 D4 E4 | w C4", `bar 3, right hand (line 3:19): the bar is too short: 3 quarter notes; 4/4 wants 4`},
		{"bars 3-4\nright: w C4 | q. C4 3(e C4 D4 E4) C4 D4 |", `bar 4, right hand (line 3:41): the bar is too short: 3 1/2 quarter notes; 4/4 wants 4`},
		{"bar 3\nright: q C4 D4\n  h E4 F4 # too much", `bar 3, right hand (line 4:8): the bar is too long: "F4" goes on to 6 quarter notes; 4/4 wants 4`},
		{"bar 3\nright: w C4\nright+: h E4 w C5+E5", `bar 3, right hand (line 4:16): the bar is too long: "C5+E5" goes on to 6 quarter notes; 4/4 wants 4`},
		{"bar 3\nright: w C4\nbetween: h r [p] w r", `bar 3 (line 4:20): the bar is too long: "r" goes on to 6 quarter notes; 4/4 wants 4`},
		{"bar 3: length 3/8\nright: q C4", `bar 3, right hand (line 3:12): the bar is too short: 1 quarter note; its length wants 1 1/2`},
		{"bar 3: from beat 4\nright: h C4", `bar 3, right hand (line 3:10): the bar is too long: "C4" goes on to 2 quarter notes; the rest of 4/4 wants 1`},
		{"bar 0: upbeat\nright: q C4\nleft: h C3", `bar 0, left hand (line 4:11): 2 quarter notes, but the right hand has 1 quarter note; in this bar all voices must agree`},
		{"bar 0: upbeat\nright: q C4\nright 2+: h C3", `bar 0, right hand, voice 2 (line 4:15): 2 quarter notes, but the bar has 1 quarter note`},
		{"bar 0: upbeat\nright: w C4", `bar 0 (line 2:1): it has 4 quarter notes, which isn't short of 4/4`},
		{"bar 0: upbeat\nright: .", `bar 0 (line 2:1): no voice says how long the bar is; write, for instance, bar 0: length 3/4`},
		{"bars 3-4: meter free\nright: q C4 | q C4\nleft: . | e C3", `bar 4, left hand (line 4:15): 1/2 quarter note, but the right hand has 1 quarter note; in this bar all voices must agree`},
		{"bar 3\nright: w C4 | D4", `bar 3, right hand (line 3:13): a bar too many: bar 3 above says 1 bar`},
		{"bars 3-4\nright: w C4 |", `bars 3-4, right hand (line 3:13): 1 bar, but bars 3-4 above says 2 bars`},
		{"bars 3-5\nright: w C4 | D4", `bars 3-5, right hand (line 3:17): 2 bars, but bars 3-5 above says 3 bars`},
		{"bars 3-4\nright: w C4 | | ", `bar 4, right hand (line 3:15): the bar is empty; write r for rests, or a full stop for a silent bar`},
		{"bar 3\nright:", `bar 3, right hand (line 3:7): the bar is empty; write r for rests, or a full stop for a silent bar`},
		{"bar 3\nright: . q C4", `bar 3, right hand (line 3:10): found more after the full stop of a silent bar; write rests instead of it`},
		{"bar 3\nright: q C4 .", `bar 3, right hand (line 3:13): a full stop beside notes; it stands for a whole silent bar`},
		// marks
		{"bar 3\nright: [p w C4", `bar 3, right hand (line 3:8): a [ without its ]`},
		{"bar 3\nright: p] w C4", `bar 3, right hand (line 3:9): a ] without its [`},
		{"bar 3\nright: [] w C4", `bar 3, right hand (line 3:8): the brackets are empty`},
		{"bar 3\nright: [loud] w C4", `bar 3, right hand (line 3:8): unknown mark "loud"; marks are p, mf, f and so on, louder, softer, end, key, tempo, ped, chord, repeat, ending and the like, others in quotes`},
		{"bar 3\nright: [p soon] w C4", `bar 3, right hand (line 3:8): unknown mark "p soon"; marks are p, mf, f and so on, louder, softer, end, key, tempo, ped, chord, repeat, ending and the like, others in quotes`},
		{"bar 3\nright: [\"\"] w C4", `bar 3, right hand (line 3:8): unknown mark "\"\""; marks are p, mf, f and so on, louder, softer, end, key, tempo, ped, chord, repeat, ending and the like, others in quotes`},
		{"bar 3\nright: [left] w C4", `bar 3, right hand (line 3:8): unknown mark "left"; marks are p, mf, f and so on, louder, softer, end, key, tempo, ped, chord, repeat, ending and the like, others in quotes`},
		{"bar 3\nright: [louder for ever] w C4", `bar 3, right hand (line 3:8): found "ever" where a length belongs, such as 3/8: so long as a bar of 3/8`},
		{"bar 3\nright: [louder for 0/4] w C4", `bar 3, right hand (line 3:8): found "0/4" where a length belongs, such as 3/8: so long as a bar of 3/8`},
		{"bar 3\nright: [louder for 5/4] w C4", `bar 3, right hand (line 3:8): the mark lasts beyond the end of the passage`},
		{"bar 3\nright: [louder] w C4", `bar 3, right hand (line 3:8): the hairpin doesn't end; write [end] where it does, or its length, as in [louder for 3/4]`},
		{"bar 3\nright: [softer] [end] w C4", `bar 3, right hand (line 3:17): the hairpin ends where it begins`},
		{"bar 3\nright: [softer] [louder] w C4 [end]", `bar 3, right hand (line 3:17): two hairpins begin at once`},
		{"bar 3\nright: h C4 [end] C4", `bar 3, right hand (line 3:13): no hairpin is there to end`},
		{"bar 3\nright: h C4 [meter 3/4] C4", `bar 3, right hand (line 3:13): a meter changes only at the bar: write, for instance, bar 3: meter 3/4`},
		{"bar 3\nright: h C4 [key H major] C4", `bar 3, right hand (line 3:13): "H major" begins with no tonic (pitch: "H" is no note name: it begins with 'H'; letters are A to G)`},
		{"bar 3\nright: h C4 [tempo 66] C4", `bar 3, right hand (line 3:13): found "66" where a tempo belongs, such as q = 66 or q. = 80`},
		{"bar 3\nbetween: h C4", `bar 3 (line 3:12): found "C4"; the line between the hands holds values, rests and marks only`},
		{"bar 3\nright: [ped off] w C4", `bar 3, right hand (line 3:8): found "ped off"; the marks of the pedals are ped, ped change, ped up and sostenuto`},
		{"bar 3\nright: [left ped] w C4", `bar 3, right hand (line 3:8): this mark is for both hands; write it without left or right`},
		{"bar 3\nright: [repeat 0 times] w C4", `bar 3, right hand (line 3:8): found "0 times" in "repeat 0 times"; a repeat is written [repeat], [repeat 3 times] or [repeat from here]`},
		{"bar 3\nright: [ending 3-1] w C4", `bar 3, right hand (line 3:8): found "3-1" in "ending 3-1"; an ending is written [ending 1] or [ending 1, 2], and [ending end] where it closes`},
		{"bar 3\nright: w C4 [ending end here]", `bar 3, right hand (line 3:13): found "here" in "ending end here"; want nothing more where an ending closes`},
		{"bar 3\nright: w C4 [fine al coda]", `bar 3, right hand (line 3:13): found "al coda" in "fine al coda"; want nothing more, or in quotes what is printed`},
		{"bar 3\nright: w C4 [dal segno called]", `bar 3, right hand (line 3:13): found "called" in "dal segno called"; want nothing more, al fine, al coda, or in quotes what is printed`},
		{"bar 3\nright: [chord] w C4", `bar 3, right hand (line 3:8): the chord is missing; a chord symbol is written, for instance, [chord F#m7/C], [chord "V" dominant] or [chord N.C.]`},
		{"bar 3\nright: [chord Hm] w C4", `bar 3, right hand (line 3:8): "Hm" begins with no root (capital letters A to G); a chord symbol is written, for instance, [chord F#m7/C], [chord "V" dominant] or [chord N.C.]`},
		{"bar 3\nright: [chord C major-tenth] w C4", `bar 3, right hand (line 3:8): found "major-tenth" in the chord symbol; a chord symbol is written, for instance, [chord F#m7/C], [chord "V" dominant] or [chord N.C.]`},
		{"bar 3\nright: *> w C4", `bar 3, right hand (line 3:10): found "*>" without a note`},
		// bar lines
		{"bar", `line 2:4: the bar number is missing`},
		{"bar: upbeat", `line 2:4: the bar number is missing`},
		{"bar é\nright: .", `line 2:5: found "é" where a bar number belongs; one that isn't plain is quoted`},
		{"bar \"\"", `line 2:5: the bar number is empty`},
		{"bars a-b", `line 2:6: found "a" where the first of several bar numbers belongs; want a plain number`},
		{"bars 03-4", `line 2:6: found "03" where the first of several bar numbers belongs; want a plain number`},
		{"bars 3-x: meter 3/4", `bar 3 (line 2:8): found "x" where the last bar number belongs`},
		{"bars 4-3", `bar 4 (line 2:8): bars 4 to 3: the last must be above the first`},
		{"bar 3 meter 3/4", `bar 3 (line 2:7): found "meter 3/4" after the bar number; want a colon and what changes, as in bar 3: meter 3/4`},
		{"bar 3: meter 3", `bar 3 (line 2:14): found "3" where a meter belongs, such as 4/4, 3+2/8 or free`},
		{"bar 3: key A major, meter 3/0", `bar 3 (line 2:27): found "3/0" where a meter belongs, such as 4/4, 3+2/8 or free`},
		{"bar 3: key", `bar 3 (line 2:11): the key is missing; want a tonic and a mode, as in "A major"`},
		{"bar 3: key 22 sharps", `bar 3 (line 2:12): found "22" where the number of sharps or flats belongs, 0 to 21`},
		{"bar 3: tempo q = fast", `bar 3 (line 2:14): found "fast" where the number of beats a minute belongs`},
		{"bar 3: tempo q = 0", `bar 3 (line 2:14): a tempo of 0 q a minute; nobody plays that`},
		{"bar 3: swing", `bar 3 (line 2:8): found "swing"; want meter, key, tempo, upbeat, short, length or from beat`},
		{"bar 3: upbeat, ", `bar 3 (line 2:16): found ""; want meter, key, tempo, upbeat, short, length or from beat`},
		{"bar 3: upbeat 1", `bar 3 (line 2:8): found "1" after upbeat; want nothing more`},
		{"bar 3: upbeat, short", `bar 3 (line 2:16): "short" contradicts what is said of the bar before`},
		{"bars 3-4: upbeat", `bars 3-4 (line 2:11): "upbeat" is said of a single bar, not of bars 3-4`},
		{"bar 3: length long", `bar 3 (line 2:8): found "long" where a length belongs, such as 3/8: so long as a bar of 3/8`},
		{"bar 3: length 4000000/1", `bar 3 (line 2:8): a length of 4000000/1 is out of range`},
		{"bar 3: from beat 0", `bar 3 (line 2:8): found "from beat 0"; want, for instance, from beat 3`},
		{"bar 3: from beat 5\nright: .", `bar 3 (line 2:8): the bar of 4/4 has no beat 5`},
		{"bar 3: meter free, upbeat\nright: .", `bar 3 (line 2:1): an upbeat or short bar needs a meter to be short of`},
		{"bar 3\nbar 4\nright: .", `bar 3 (line 2:1): no hand follows; a silent bar is written right: .`},
		{"bar 1: length 250000/1\nright: .\nbar 2: length 250000/1\nright: .", `bar 2 (line 4:1): the passage is too long, or its bars begin at too small parts of a beat`},
		{"bar 1: length 1/900000\nright: .\nbar 2\nright: 7in8(e C4 r r r r r r)\n", `bar 2 (line 5:15): the note begins or ends at too small a part of a beat`},
		{"bar 1: length 1/900000\nright: .\nbar 2\nright: 7in8(e r [p] r r r r r r)\n", `bar 2 (line 5:17): the mark stands at too small a part of a beat`},
		// hands and headers
		{"right: w C4", `line 2:1: a hand before the first bar; write the number of the bar above it, as in bar 1`},
		{"bar 3\nright w C4", `bar 3, right hand (line 3:7): a colon is missing after the hand; a hand's line begins, for instance, with right: or left 2:`},
		{"bar 3\nright 0: w C4", `bar 3, right hand (line 3:7): voice 0; voices are counted from 1 to 999`},
		{"bar 3\nbetween 2: w r", `bar 3 (line 3:1): the line between the hands has no voices; it begins with between:`},
		{"bar 3\nbetween: w r\nbetween: w r", `bar 3 (line 4:1): a second line between: in the same bars`},
		{"bar 3\nright: w C4\nright: w C4", `bar 3, right hand (line 4:1): a second line for the right hand; a further voice is right 2:, further notes of the same voice are right+:`},
		{"bar 3\nlh 2: w C4\nlh 2: w C4", `bar 3, left hand, voice 2 (line 4:1): a second line for the left hand, voice 2; a further voice is lh 3:, further notes of the same voice are lh 2+:`},
		{"author: nobody\nbar 1\nright: .", `line 2:1: unknown word "author"; the headers are title, key, meter and tempo, the hands right and left`},
		{"meter: 3/4\nbar 1\nright: .", `line 2:1: a second meter`},
		{"bar 1\nright: .\nkey: A major", `line 4:1: key after the first bar; write a change as, for instance, bar 3: meter 3/4, key D minor`},
		{"key: X\nbar 1\nright: .", `line 2:6: "X" begins with no tonic (pitch: "X" is no note name: it begins with 'X'; letters are A to G)`},
		{"hello there", `line 2:1: found "hello there"; want a bar (bar 5), a hand (right: q C4) or a header (title: …)`},
		{"   q C4", `line 2:4: found "q C4"; want a bar (bar 5), a hand (right: q C4) or a header (title: …)`},
		{"# nothing\n", `line 3:1: the passage has no bars; want, for instance, bar 1 and under it right: q C4 D4 E4 F4`},
		{"bar 1\nrigth: w C4", `line 3:1: unknown word "rigth"; the headers are title, key, meter and tempo, the hands right and left`},
		{"bar 1\nright: q \xff", `line 3:10: this isn't plain text in UTF-8`},
		{"bar 1\nright: q \x00", `line 3:10: this isn't plain text in UTF-8`},
	} {
		_, err := Read("test.txt", strings.NewReader("meter: 4/4\n"+c.body))
		var e *Error
		if !errors.As(err, &e) {
			t.Errorf("Read(%q): %v; want an *Error", c.body, err)
			continue
		}
		want := "typed: " + c.want
		if err.Error() != want {
			t.Errorf("Read(%q):\n%v; want\n%v", c.body, err, want)
		}
		lines := strings.Split("meter: 4/4\n"+c.body, "\n")
		if e.File != "test.txt" || e.Source != lines[e.Line-1] {
			t.Errorf("Read(%q): file %q, source %q; want test.txt, %q", c.body, e.File, e.Source, lines[e.Line-1])
		}
	}
}

// TestSeveralErrors checks that each line gives one error, in order, and ten at most.
func TestSeveralErrors(t *testing.T) {
	_, err := Read("", strings.NewReader("key: H\nmeter: 4/4\nbar 1\nright: q C4 H4 H5\nleft: q C4\nbar x!\nbar 2\nright: w C4\nhm\n"))
	want := `typed: line 1:6: "H" begins with no tonic (pitch: "H" is no note name: it begins with 'H'; letters are A to G)
typed: bar 1, right hand (line 4:13): unknown pitch "H4"; letters are A to G
typed: bar 1, left hand (line 5:11): the bar is too short: 1 quarter note; 4/4 wants 4
typed: line 6:5: found "x!" where a bar number belongs; one that isn't plain is quoted
typed: line 9:1: found "hm"; want a bar (bar 5), a hand (right: q C4) or a header (title: …)`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v; want\n%s", err, want)
	}
	// Without a meter that can be read, bars are not checked against it.
	_, err = Read("", strings.NewReader("meter: four\nbar 1\nright: q C4\nleft: w C4"))
	if want := `typed: line 1:8: found "four" where a meter belongs, such as 4/4, 3+2/8 or free`; err == nil || err.Error() != want {
		t.Errorf("got\n%v; want\n%s", err, want)
	}
	_, err = Read("", strings.NewReader("bar 1\nright: q C4\nbar 2\nright: q C4"))
	if want := `typed: bar 1 (line 1:1): there is no meter; write, for instance, meter: 4/4 above the first bar`; err == nil || err.Error() != want {
		t.Errorf("got\n%v; want\n%s", err, want)
	}
	_, err = Read("", strings.NewReader("meter: 4/4\n"+strings.Repeat("bar 1\nright: H4\n", 20)))
	if n := strings.Count(fmt.Sprint(err), "\n") + 1; n != maxErrors {
		t.Errorf("%d errors; want %d", n, maxErrors)
	}
}

func TestDetail(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{"right: q H4", "right: q H4\n         ^"},
		{"\tright:\tq H4", "\tright:\tq H4\n\t      \t  ^"},
		{"right: q C♯4 H4", "right: q C♯4 H4\n             ^"},
		{"right: [\"灯\"] q H4", "right: [\"灯\"] q H4\n                ^"},                    // a wide letter takes two columns
		{"right: [\"e\u0301\"] q H4", "right: [\"e\u0301\"] q H4\n               ^"},         // a combining accent none
		{"right: [\"💡\"] q H4", "right: [\"💡\"] q H4\n                ^"},                    // a picture two
		{"right: [\"\u200b\"] q H4", "right: [\"\ufffd\"] q H4\n              " + " " + "^"}, // a control sign is not printed
	} {
		_, err := Read("", strings.NewReader("meter: 4/4\nbar 1\n"+c.line))
		var e *Error
		if !errors.As(err, &e) || e.Detail() != c.want {
			t.Errorf("Detail of %q:\n%s; want\n%s", c.line, e.Detail(), c.want)
		}
	}
	long := &Error{Col: 101, Source: strings.Repeat("a", 100) + "b" + strings.Repeat("c", 100)}
	want := "…" + strings.Repeat("a", 60) + "b" + strings.Repeat("c", 59) + "…\n" + strings.Repeat(" ", 61) + "^"
	if got := long.Detail(); got != want {
		t.Errorf("Detail of a long line:\n%s; want\n%s", got, want)
	}
	for _, e := range []*Error{{}, {Col: 99, Source: "a"}, {Col: -5, Source: "\xff"}} {
		if got := e.Detail(); !strings.HasSuffix(got, "^") {
			t.Errorf("%+v: Detail() = %q", e, got)
		}
	}
}

func TestReadLimits(t *testing.T) {
	if _, err := Read("", iotest.ErrReader(errors.New("broken"))); err == nil || err.Error() != "typed: broken" {
		t.Errorf("a broken reader: %v", err)
	}
	if _, err := Read("", strings.NewReader(strings.Repeat(" ", maxBytes+1))); err == nil || err.Error() != "typed: the file is larger than 4 MiB" {
		t.Errorf("a file too large: %v", err)
	}
	head := "meter: free\nbar 1\nright: z"
	_, err := Read("", strings.NewReader(head+strings.Repeat(" C4", maxNotes+1)))
	if err == nil || err.Error() != "typed: bar 1, right hand (line 3:3000010): more than 1000000 notes" {
		t.Errorf("one note more than a million: %v", err)
	}
	_, err = Read("", strings.NewReader("meter: 4/4\nbar 1\nright: q C4 "+strings.Repeat("[p]", maxMarks+1)))
	if want := "typed: bar 1, right hand (line 3:300013): more than 100000 marks"; err == nil || err.Error() != want {
		t.Errorf("too many marks: %v; want %s", err, want)
	}
	_, err = Read("", strings.NewReader("meter: 4/4\nbar 1\nright:"+strings.Repeat("|", maxTokens+1)))
	if want := "typed: bar 1, right hand (line 3:2000007): too much in one line; begin another block of bars"; err == nil || err.Error() != want {
		t.Errorf("too many tokens: %v; want %s", err, want)
	}
	body := "meter: 4/4\nbar 1\n" + strings.Repeat("right+: w C4\n", maxFurther+1)
	_, err = Read("", strings.NewReader(body))
	if want := "typed: bar 1, right hand (line 103:1): more than 100 lines of further notes for the right hand"; err == nil || err.Error() != want {
		t.Errorf("too many further lines: %v; want %s", err, want)
	}
	if err := iotest.TestReader(strings.NewReader(Help), []byte(Help)); err != nil {
		t.Error(err)
	}
	if p, err := Read("", iotest.OneByteReader(strings.NewReader(lamp(t)))); err != nil || difference(p, mustRead(t, lamp(t))) != "" {
		t.Errorf("byte by byte: %v, or another passage", err)
	}
}

func TestWriteErrors(t *testing.T) {
	ok := func() *score.Passage {
		p, err := Read("", strings.NewReader("meter: 4/4\nbar 1\nright: h C4 D4\nbar 2\nright: w C4"))
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	q := score.Quarters
	for _, c := range []struct {
		spoil func(p *score.Passage)
		want  string
	}{
		{func(p *score.Passage) { p.Bars = nil }, "the passage has no bars"},
		{func(p *score.Passage) { p.Bars[1].Number = "" }, "bar 2 of the passage has no number"},
		{func(p *score.Passage) { p.Bars[1].Start = q(5) }, "bar 2 begins at 5; the bar before it ends at 4"},
		{func(p *score.Passage) { p.Bars[1].Length = q(-1) }, "bar 2: its length or offset is out of range"},
		{func(p *score.Passage) { p.Bars[1].Length = q(1 << 20) }, "bar 2 ends out of range"},
		{func(p *score.Passage) { p.Bars[0].Meter.Groups = []int{3, 2} }, "bar 1: the meter 3+2/4 (4 over 4, groups [3 2]) cannot be written"},
		{func(p *score.Passage) { p.Bars[0].Meter.Unit = 0 }, "bar 1: the meter free (4 over 0, groups []) cannot be written"},
		{func(p *score.Passage) { p.Notes[1].Bar = 2 }, "D4 is in bar 2 of 2"},
		{func(p *score.Passage) { p.Notes[1].Pitch.Alter = 4 }, "bar 1, right hand: a note with a pitch out of range"},
		{func(p *score.Passage) { p.Notes[1].Pitch.Letter = -1 }, "bar 1, right hand: a note with a pitch out of range"},
		{func(p *score.Passage) { p.Notes[1].Hand = 0 }, "bar 1, %!Hand(0): a note of no hand"},
		{func(p *score.Passage) { p.Notes[1].Voice = 0 }, "bar 1, right hand: a note of voice 0; voices are 1 to 999"},
		{func(p *score.Passage) { p.Notes[1].Grace = 7 }, "bar 1, right hand: a note of an unknown kind"},
		{func(p *score.Passage) { p.Notes[1].Grace = 1 }, "bar 1, right hand: a note D4 is a grace note with a length"},
		{func(p *score.Passage) { p.Notes[1].Duration = Time{} }, "bar 1, right hand: a note D4 without a length"},
		{func(p *score.Passage) { p.Notes[1].Duration = q(3) }, "bar 1, right hand: a note D4 that reaches beyond its bar"},
		{func(p *score.Passage) { p.Notes[1].Bar = 1 }, "bar 2, right hand: a note D4 that reaches beyond its bar"},
		{func(p *score.Passage) { p.Notes[1].Onset = score.T(1, 1<<21) }, "bar 1, right hand: a note D4 at a time out of range"},
		{func(p *score.Passage) { p.Keys = []score.KeyChange{{At: q(9), Declared: true}} }, `bar 2 beat 6: "key C major" is not within the passage`},
		{func(p *score.Passage) { p.Keys = []score.KeyChange{{Key: key.Key{Mode: 9}, Declared: true}} }, "bar 1 beat 1: a key that cannot be written"},
		{func(p *score.Passage) { p.Keys = []score.KeyChange{{Key: key.Key{Mode: key.Minor}}} }, "bar 1 beat 1: a key that cannot be written"},
		{func(p *score.Passage) { p.Keys = []score.KeyChange{{Key: key.Key{Tonic: pitch.Class{Letter: 99}}}} }, "bar 1 beat 1: a key that cannot be written"},
		{func(p *score.Passage) { p.Tempos = []score.Tempo{{Quarters: math.NaN()}} }, "bar 1 beat 1: a tempo of NaN quarter notes a minute cannot be written"},
		{func(p *score.Passage) { p.Dynamics = []score.Dynamic{{}} }, `bar 1 beat 1: the dynamic "" cannot be written`},
		{func(p *score.Passage) { p.Dynamics = []score.Dynamic{{Text: louder}} }, `bar 1 beat 1: the dynamic "louder" cannot be written`},
		{func(p *score.Passage) { p.Dynamics = []score.Dynamic{{Text: "p", Hand: 3}} }, `bar 1 beat 1: the dynamic "p" cannot be written`},
		{func(p *score.Passage) { p.Dynamics = []score.Dynamic{{Text: "p", At: q(9)}} }, `bar 2 beat 6: the dynamic "p" is not within the passage`},
		{func(p *score.Passage) { p.Dynamics = []score.Dynamic{{Text: "p", Until: q(9)}} }, `bar 1 beat 1: the dynamic "p" is not within the passage`},
		{func(p *score.Passage) { p.Notes[1].After = true }, "bar 1, right hand: a note D4 that isn't a grace note but is said to follow or to join one"},
		{func(p *score.Passage) { p.Pedals = []score.Pedal{{Act: 9}} }, "bar 1 beat 1: a pedal mark of an unknown kind"},
		{func(p *score.Passage) { p.Pedals = []score.Pedal{{At: q(9), Act: score.PedalUp}} }, `bar 2 beat 6: "ped up" is not within the passage`},
		{func(p *score.Passage) { p.Signs = []score.Sign{{Kind: score.Fine, Bar: 2}} }, "the sign Fine is in bar 2 of 2"},
		{func(p *score.Passage) { p.Signs = []score.Sign{{Kind: score.Fine, At: q(5)}} }, "bar 1: the sign Fine is not within its bar"},
		{func(p *score.Passage) { p.Signs = []score.Sign{{Kind: score.RepeatEnd, Times: -1}} }, `bar 1: the sign "repeat" (repeat) cannot be written`},
		{func(p *score.Passage) { p.Signs = []score.Sign{{Kind: score.Fine, Label: "A"}} }, "bar 1: the sign \"Fine \\\"A\\\"\" (Fine) cannot be written"},
		{func(p *score.Passage) { p.Harmonies = []score.Harmony{{Kind: "loud"}} }, `bar 1 beat 1: the chord symbol "C loud" of kind "loud" cannot be written`},
	} {
		p := ok()
		c.spoil(p)
		var out strings.Builder
		err := Write(&out, p)
		if err == nil || err.Error() != "typed: "+c.want || out.Len() > 0 {
			t.Errorf("Write: %v, %d bytes; want typed: %s, nothing", err, out.Len(), c.want)
		}
	}
	if err := Write(brokenWriter{}, ok()); !errors.Is(err, errBroken) {
		t.Errorf("Write to a broken writer: %v; want %v", err, errBroken)
	}
}

var errBroken = errors.New("broken")

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errBroken }
