package chord

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

// exampleNotes reads an input of worked-examples.tsv: pitches, or letters without octave, which are stacked upwards.
func exampleNotes(t testing.TB, input string) []pitch.Pitch {
	t.Helper()
	input, _, _ = strings.Cut(input, " | ") // of a progression, its first chord
	var ns []pitch.Pitch
	for _, f := range strings.Fields(input) {
		if p, err := pitch.Parse(f); err == nil {
			ns = append(ns, p)
			continue
		}
		c, err := pitch.ParseClass(f)
		if err != nil {
			t.Fatalf("%q: %v", input, err)
		}
		p := c.In(3)
		for len(ns) > 0 && p.MIDI() <= ns[len(ns)-1].MIDI() {
			p.Octave++
		}
		ns = append(ns, p)
	}
	return ns
}

var exampleInts = regexp.MustCompile(`-?\d+`)

func ints(s string) (ns []int) {
	for _, d := range exampleInts.FindAllString(s, -1) {
		n, _ := strconv.Atoi(d)
		ns = append(ns, n)
	}
	return ns
}

// meant reads an expected label of the table, without the remark in brackets behind it.
func meant(s string) (Symbol, error) {
	sym, err := ParseLabel(s)
	for err != nil {
		i := strings.LastIndex(s, " (")
		if i < 0 {
			return sym, err
		}
		s = s[:i]
		sym, err = ParseLabel(s)
	}
	return sym, nil
}

func classes(t testing.TB, input string) (cs []pitch.Class) {
	t.Helper()
	for f := range strings.FieldsSeq(input) {
		c, err := pitch.ParseClass(f)
		if err != nil {
			t.Fatal(err)
		}
		cs = append(cs, c)
	}
	return cs
}

func pcsOfClasses(cs []pitch.Class) (m pcset) {
	for _, c := range cs {
		m |= 1 << c.PC()
	}
	return m
}

// sameMeaning compares a first reading with a label: root, chord and bass.
func sameMeaning(r Reading, sym Symbol) string {
	bass, _ := sym.BassClass()
	if r.Root != sym.Root || r.Type == "" || r.Type != sym.Type.ID || r.Bass != bass {
		return fmt.Sprintf("first reading %s (%s on %v over %v), want %s (%s on %v over %v)", r.Label, r.Type, r.Root, r.Bass, sym.Text, sym.Type.ID, sym.Root, bass)
	}
	return ""
}

// exampleFault returns what is wrong with the first reading of a row, "" if it agrees; handled is false for other kinds.
func exampleFault(t *testing.T, row map[string]string) (fault string, handled bool) {
	input, want := row["input"], row["expected"]
	switch kind := row["kind"]; kind {
	case "set-class", "set-icv", "set-normal-form":
		s := SetOfPCs(ints(strings.SplitN(input, "}", 2)[0]))
		if i := strings.Index(want, "]"); i >= 0 && !slices.Equal(s.Normal, ints(want[:i])) {
			return fmt.Sprintf("normal form %v, want %s", s.Normal, want), true
		}
		if m := regexp.MustCompile(`\(([0-9TE]+)\)`).FindStringSubmatch(want); m != nil && s.Prime != m[1] {
			return fmt.Sprintf("prime form %s, want %s", s.Prime, want), true
		}
		if m := regexp.MustCompile(`\d+-Z?\d+`).FindString(want); m != "" && s.Forte != m {
			return fmt.Sprintf("Forte number %s, want %s", s.Forte, want), true
		}
		if m := regexp.MustCompile(`(?:icv |^)(\d{6})$`).FindStringSubmatch(want); m != nil && s.Vector != m[1] {
			return fmt.Sprintf("vector %s, want %s", s.Vector, want), true
		}
		return "", true
	case "set-transposition", "set-inversion":
		s, n := SetOfPCs(ints(input)), ints(row["context"])[0]
		got := s.Transpose(n)
		if kind == "set-inversion" {
			got = s.Invert(n)
		}
		if !slices.Equal(got.Normal, ints(want)) {
			return fmt.Sprintf("%s of %s = %v, want %s", row["context"], input, got.Normal, want), true
		}
		return "", true
	case "set-complement":
		s := SetOfPCs(digits(t, strings.Trim(input, "()")))
		comp := s.ComplementSet()
		if "("+comp.Prime+")" != want || comp.Forte != s.Complement {
			return fmt.Sprintf("complement %s, want %s", comp.Prime, want), true
		}
		return "", true
	case "set-common-tones":
		s := SetOfPCs(digits(t, strings.Trim(input, "()")))
		for _, m := range regexp.MustCompile(`T(\d+) (\d)`).FindAllStringSubmatch(want, -1) {
			n, _ := strconv.Atoi(m[1])
			if got := s.CommonT()[n]; strconv.Itoa(got) != m[2] {
				return fmt.Sprintf("T%d keeps %d, want %s", n, got, m[2]), true
			}
		}
		return "", true
	case "voice-leading-distance":
		var got []string
		chords := strings.Split(input, " | ")
		for i := 1; i < len(chords); i++ {
			got = append(got, strconv.Itoa(ClassDistance(classes(t, chords[i-1]), classes(t, chords[i]))))
		}
		if s := "semitones moved: " + strings.Join(got, " "); s != want {
			return fmt.Sprintf("%s, want %s", s, want), true
		}
		return "", true
	case "mediant":
		a, b, _ := strings.Cut(input, " | ")
		ca, cb := classes(t, a), classes(t, b)
		common := (pcsOfClasses(ca) & pcsOfClasses(cb)).len()
		if s := fmt.Sprintf("common tones %d, semitones %d", common, ClassDistance(ca, cb)); !strings.HasSuffix(want, s) {
			return fmt.Sprintf("%s, want %s", s, want), true
		}
		return "", true
	case "interval": // an augmented fourth opens, a diminished fifth closes: what each note wants by its spelling
		a, b, _ := strings.Cut(input, " | ")
		na, nb := exampleNotes(t, a), exampleNotes(t, b)
		iv := na[1].Sub(na[0])
		closes := iv == pitch.DiminishedFifth
		if got := iv.String(); !strings.Contains(want, "spelled "+got+":") || closes != strings.Contains(row["context"], "closes") {
			return fmt.Sprintf("%s, want %s", got, want), true
		}
		r := Relate(Voicing{Right: na}, Voicing{Right: nb})
		if up := r.Smoothest[1].Semitones > 0; len(r.Smoothest) != 2 || up == closes || (r.Smoothest[0].Semitones > 0) != closes {
			return fmt.Sprintf("leads %v, want %s", r.Smoothest, want), true
		}
		if to := nb[1].Sub(nb[0]).Words(); !strings.HasSuffix(to, row["context"][strings.LastIndex(row["context"], " ")+1:]) {
			return fmt.Sprintf("to a %s, want %s", to, row["context"]), true
		}
		return "", true
	case "scale":
		cs := classes(t, input)
		got := ScaleFrom(cs[0], cs) + ":"
		if got == "major:" || got == "minor:" {
			got = strings.Replace(got, ":", " scale:", 1)
		}
		for _, n := range pcsOfClasses(cs).down(cs[0].PC()).list() {
			got += " " + strconv.Itoa(n)
		}
		if got != want {
			return fmt.Sprintf("%s, want %s", got, want), true
		}
		return "", true
	case "common-tone-diminished": // its middle chord, a diminished seventh; the numeral needs a key
		ns := exampleNotes(t, strings.Split(input, " | ")[1])
		if r := Name(ns)[0]; r.Type != "dim7" {
			return fmt.Sprintf("first reading %s, want a diminished seventh", r.Label), true
		}
		return "", true
	case "chord-label", "slash-chord", "added-sixth", "suspended", "extended":
		r := Name(exampleNotes(t, input))[0]
		if row["id"] == "ex114" { // V7 in D minor with its minor ninth, as the row says
			want = "A7(b9)"
		}
		sym, err := meant(want)
		if err != nil {
			return err.Error(), true
		}
		return sameMeaning(r, sym), true
	case "cluster":
		r := Name(exampleNotes(t, input))[0]
		word, _, _ := strings.Cut(want, " ")
		if r.Kind != ClusterKind || !strings.HasPrefix(r.Label, word+" cluster") {
			return fmt.Sprintf("first reading %s, want %s", r.Label, want), true
		}
		return "", true
	case "quartal", "quintal":
		ns := exampleNotes(t, input)
		r, st := Name(ns)[0], StackOf(ns)
		k, words := StackedFourths, "perfect fourths, all"
		if kind == "quintal" {
			k, words = StackedFifths, "perfect fifths, all"
		}
		if r.Kind != k || st.Text != words || len(st.Intervals) != len(ns)-1 {
			return fmt.Sprintf("first reading %s, stack %s, want %s", r.Label, st.Text, want), true
		}
		return "", true
	case "augmented-sixth":
		r := Name(exampleNotes(t, input))[0]
		id := map[string]string{"It+6": "It6", "Fr+6": "Fr6", "Ger+6": "Ger6", "Ger+6/^1": "Ger6", "doubly": "Sw6"}[strings.Fields(want)[0]]
		if r.Type != id || r.Kind != AugmentedSixth {
			return fmt.Sprintf("first reading %s, want %s", r.Label, want), true
		}
		return "", true
	case "polychord", "special":
		ns := exampleNotes(t, input)
		r := Name(ns)[0]
		if m := regexp.MustCompile(`\d-Z?\d+`).FindString(want); m != "" && m != SetOf(ns).Forte {
			return fmt.Sprintf("set class %s, want %s", SetOf(ns).Forte, want), true
		}
		if m := regexp.MustCompile(`polychord (.*) over (.*)`).FindStringSubmatch(want); m != nil {
			upper, err1 := ParseLabel(m[1])
			lower, err2 := ParseLabel(m[2])
			if got := r.Label; err1 != nil || err2 != nil || strings.ReplaceAll(got, " major", "") != upper.House()+" over "+lower.House() {
				return fmt.Sprintf("first reading %s, want %s", got, want), true
			}
			return "", true
		}
		if name, _, ok := strings.Cut(want, " chord"); ok && !strings.Contains(name, " ") && !strings.HasPrefix(strings.ToLower(r.Label), strings.ToLower(name)+" chord") {
			return fmt.Sprintf("first reading %s, want %s", r.Label, want), true
		}
		if strings.Contains(want, "two major triads") && r.Type != "petrushka" {
			return fmt.Sprintf("first reading %s, want %s", r.Label, want), true
		}
		return "", true
	}
	return "", false
}

// notCovered lists the rows of the kinds above that don't agree yet, or on which we follow another school, with the reason.
var notCovered = map[string]string{
	"ex101": "Ab C F# D# is named by its spelling, a doubly augmented fourth sixth (Open Music Theory); Butterfield keeps the name German",
}

// Every worked example of a chord or set kind agrees with its source or stands in notCovered. Sources: each row's own.
func TestWorkedExamples(t *testing.T) {
	n := 0
	for _, row := range table(t, "worked-examples.tsv") {
		fault, handled := exampleFault(t, row)
		if !handled {
			continue
		}
		n++
		reason, listed := notCovered[row["id"]]
		switch {
		case listed && fault == "":
			t.Errorf("%s %s agrees now; take it off the list (%s)", row["id"], row["kind"], reason)
		case !listed && fault != "":
			t.Errorf("%s %s %s: %s [%s]", row["id"], row["kind"], row["input"], fault, row["source"])
		}
	}
	if n < 80 {
		t.Errorf("only %d rows were tried", n)
	}
}
