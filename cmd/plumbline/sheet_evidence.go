package main

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"plumbline/drills/ear"
	"plumbline/synth"
	"plumbline/theory/chord"
	"plumbline/theory/claim"
	"plumbline/theory/engrave"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// shownRegion is what a claim's picture shows: the bars of its place, those its evidence reaches into, and the places that its
// statement names.
func shownRegion(p *score.Passage, r claim.Result) score.Region {
	region := score.Region{From: r.Region.From, To: r.Region.To}
	for _, n := range r.Evidence {
		region.From, region.To = region.From.Min(n.Onset), region.To.Max(n.Onset.Add(score.T(1, 64)))
	}
	for _, q := range namedPlaces(p, r.Claim) {
		region.From, region.To = region.From.Min(q.From), region.To.Max(q.To)
	}
	return region
}

// namedPlaces returns the places that a statement names besides the claim's own.
func namedPlaces(p *score.Passage, c claim.Claim) []score.Region {
	var out []score.Region
	for _, pl := range ear.PlacesIn(c.Statement) {
		if r, err := p.Resolve(pl); err == nil {
			out = append(out, r)
		}
	}
	return out
}

// markEvidence puts what a claim rests on into the options of a picture. Rings, diamonds and squares (see verdictShape) stand for
// single notes; what a claim says of stacks, lines and cycles is drawn as such.
func markEvidence(p *score.Passage, r claim.Result, o *engrave.Options) {
	rings := func() {
		if len(r.Evidence) > 0 {
			o.Marks = append(o.Marks, engrave.Mark{Notes: r.Evidence, Shape: verdictShape(r.Verdict)})
		}
	}
	sounding := p.Sounding()
	r.Evidence = pointedAt(sounding, r)
	strand := func(label string, notes []score.Note) {
		if len(notes) > 1 {
			o.Strands = append(o.Strands, engrave.Strand{Label: label, Notes: notes})
		}
	}
	switch r.Claim.Form().ID {
	case "stacked":
		hand := layerHand(r.Region.Layer)
		var ps []pitch.Pitch
		for _, n := range r.Evidence {
			ps = append(ps, n.Pitch)
		}
		st := chord.StackOf(ps)
		var names []string
		for _, i := range st.Intervals {
			names = append(names, i.String())
		}
		if len(r.Evidence) == 0 || len(names) == 0 {
			rings()
			return
		}
		o.Stacks = append(o.Stacks, engrave.Stack{At: r.Evidence[0].Onset, Hand: hand, Label: strings.Join(names, " ")})
		if r.Verdict != claim.Holds {
			rings()
		}
	case "two lines":
		if s, ok := strands(sounding, r); ok {
			strand("upper", s.High)
			strand("lower", s.Low)
			return
		}
		rings()
	case "outer intervals":
		if !cycles(sounding, r, o) {
			rings()
		}
	case "outer motion", "outer in":
		strand("top", line.Top(sounding, r.Region))
		strand("bass", line.Bass(sounding, r.Region))
	case "moves", "resolves":
		if inARow(r.Evidence) {
			strand("", r.Evidence)
		}
		if r.Claim.Form().ID == "resolves" || len(o.Strands) == 0 || r.Verdict == claim.Fails {
			rings()
		}
	case "relation", "comparison":
		for _, q := range namedPlaces(p, r.Claim) {
			o.Spans = append(o.Spans, engrave.Span{From: q.From, To: q.To, Text: "model", Above: true})
		}
		if len(o.Spans) > 0 {
			o.Spans = append(o.Spans, engrave.Span{From: r.Region.From, To: r.Region.To, Text: copyWord(r.Verdict), Above: true})
		}
		if len(o.Spans) == 0 || r.Verdict == claim.Fails {
			rings()
		}
	case "qualities", "several chords":
		for _, rd := range firstReadings(p) {
			if !rd.At.Less(r.Region.From) && rd.At.Less(r.Region.To) {
				o.Texts = append(o.Texts, engrave.Text{At: rd.At, Text: rd.Text, Kind: engrave.Reading})
			}
		}
		if r.Verdict != claim.Holds {
			rings()
		}
	default:
		rings()
	}
}

// pointedAt returns the notes to point at. A cluster names classes: where one of them sounds in several octaves, the notes that lie
// together are meant, not the lowest ones.
func pointedAt(sounding []score.Note, r claim.Result) []score.Note {
	if id := r.Claim.Form().ID; id != "cluster" && id != "dominant under cluster" || len(r.Evidence) == 0 {
		return r.Evidence
	}
	classes := map[pitch.Class]bool{}
	for _, n := range r.Evidence {
		classes[n.Pitch.Class()] = true
	}
	var near []score.Note
	for _, s := range score.Slices(r.Region.Select(sounding), r.Region.From, r.Region.To) {
		notes := slices.DeleteFunc(slices.Clone(s.Notes), func(n score.Note) bool { return !classes[n.Pitch.Class()] })
		slices.SortStableFunc(notes, func(a, b score.Note) int { return cmp.Compare(a.Pitch.MIDI(), b.Pitch.MIDI()) })
		for i := range notes {
			seen := map[pitch.Class]bool{}
			for k := i; k < len(notes); k++ {
				seen[notes[k].Pitch.Class()] = true
				if len(seen) < len(classes) {
					continue
				}
				if run := notes[i : k+1]; near == nil || notes[k].Pitch.MIDI()-notes[i].Pitch.MIDI() < near[len(near)-1].Pitch.MIDI()-near[0].Pitch.MIDI() {
					near = run
				}
				break
			}
		}
	}
	if len(near) == len(classes) {
		return near
	}
	return r.Evidence
}

func copyWord(v claim.Verdict) string {
	if v == claim.Fails {
		return "not its copy"
	}
	return "copy"
}

func layerHand(l score.Layer) score.Hand {
	switch l {
	case score.LeftHand:
		return score.Left
	case score.RightHand:
		return score.Right
	}
	return 0
}

// inARow reports whether notes follow each other, no two at once.
func inARow(notes []score.Note) bool {
	for i := 1; i < len(notes); i++ {
		if !notes[i-1].Onset.Less(notes[i].Onset) {
			return false
		}
	}
	return len(notes) > 1
}

// strands takes the line a claim speaks of as two.
func strands(sounding []score.Note, r claim.Result) (line.Split, bool) {
	l := line.Top(sounding, r.Region)
	if r.Region.Layer == score.Bass {
		l = line.Bass(sounding, r.Region)
	}
	return line.SplitInTwo(l)
}

var everyChords = regexp.MustCompile(`every (\d+|two|three|four|five|six)\b`)

// cycles puts a bracket under each cycle of outer intervals.
func cycles(sounding []score.Note, r claim.Result, o *engrave.Options) bool {
	n := 0
	if m := everyChords.FindStringSubmatch(strings.ToLower(r.Claim.Statement)); m != nil {
		if n, _ = strconv.Atoi(m[1]); n == 0 {
			n = slices.Index([]string{"two", "three", "four", "five", "six"}, m[1]) + 2
		}
	}
	outers := line.Outers(sounding, r.Region)
	if n == 0 || len(outers) < n || n > 12 {
		return false
	}
	for i := 0; i < len(outers); i += n {
		var names []string
		for _, x := range outers[i:min(i+n, len(outers))] {
			names = append(names, x.Interval.Simple().String())
		}
		to := r.Region.To
		if i+n < len(outers) {
			to = outers[i+n].At
		}
		o.Spans = append(o.Spans, engrave.Span{From: outers[i].At, To: to, Text: strings.Join(names, " ")})
	}
	return true
}

// A heardPart is one thing in a place taken apart.
type heardPart struct {
	caption string
	notes   []score.Note
	region  score.Region
	shape   shape
}

// takenApart says how a claim is heard taken apart: what it speaks of alone, or left out, and then in its place.
func takenApart(p *score.Passage, r claim.Result) []heardPart {
	sounding := p.Sounding()
	r.Evidence = pointedAt(sounding, r)
	region := shownRegion(p, r)
	if r.Region.Moment {
		region = r.Region
		region.Layer = score.Whole
	}
	all := playedNotes(sounding, score.Region{From: region.From, To: region.To})
	if r.Region.Moment { // what is struck then
		if s := score.Slices(all, region.From, region.To); len(s) > 0 {
			all = s[0].Notes
		}
	}
	var out []heardPart
	add := func(caption string, notes []score.Note, sh shape) {
		if len(notes) > 0 && (len(out) == 0 || !slices.Equal(out[len(out)-1].notes, notes) || out[len(out)-1].shape != sh) {
			out = append(out, heardPart{caption, notes, region, sh})
		}
	}
	block := asWritten
	if r.Region.Moment {
		block = blockChords
	}
	layer := func(l score.Layer) []score.Note {
		return layerNotes(sounding, score.Region{From: region.From, To: region.To, Layer: l})
	}
	whole := func() { add("all of it", all, block) }
	switch id := r.Claim.Form().ID; id {
	case "resolves":
		if len(r.Evidence) < 2 {
			break
		}
		to := r.Evidence[len(r.Evidence)-1]
		before := score.Region{From: r.Evidence[0].Onset.Min(r.Region.From), To: to.Onset}
		given := score.Region{From: before.From, To: to.End()}
		if held := playedNotes(sounding, before); len(held) > 0 {
			out = append(out, heardPart{"the resolution withheld", held, before, asWritten}, heardPart{"and given", playedNotes(sounding, given), given, asWritten})
		}
	case "cluster", "bass", "interval", "pedal", "dominant under cluster":
		what := map[string]string{"cluster": "the cluster alone", "bass": "the bass alone", "interval": "the two notes alone", "pedal": "the pedal alone", "dominant under cluster": "what it rests on alone"}[id]
		if len(r.Evidence) < len(all) {
			add(what, r.Evidence, block)
		}
		add("in its chord", all, block)
	case "two lines":
		if s, ok := strands(sounding, r); ok {
			add("the upper line alone", s.High, asWritten)
			add("the lower line alone", s.Low, asWritten)
			both := slices.Concat(s.High, s.Low)
			slices.SortStableFunc(both, func(a, b score.Note) int { return a.Onset.Sub(b.Onset).Sign() })
			add("the two together", both, asWritten)
			whole()
		}
	case "sixth for fifth", "added", "non-chord tone", "sounds as", "missing":
		if names := namedNotes(r.Claim.Statement); len(names) > 0 {
			if rest := slices.DeleteFunc(slices.Clone(all), func(n score.Note) bool { return named(names, n.Pitch) }); len(rest) < len(all) {
				add("without "+joinNames(names), rest, block)
				add("with "+joinNames(names), all, block)
			}
		}
	case "outer intervals", "outer motion", "outer in", "parallels":
		outer := slices.Concat([]score.Note(line.Top(sounding, region)), []score.Note(line.Bass(sounding, region)))
		slices.SortStableFunc(outer, func(a, b score.Note) int { return a.Onset.Sub(b.Onset).Sign() })
		add("bass and top line alone", outer, asWritten)
		whole()
	case "relation", "comparison":
		for _, q := range namedPlaces(p, r.Claim) {
			q.Layer = r.Region.Layer
			if notes := layerNotes(sounding, q); len(notes) > 0 {
				out = append(out, heardPart{"the model", notes, q, asWritten})
			}
		}
		if notes := layerNotes(sounding, r.Region); len(out) > 0 && len(notes) > 0 {
			out = append(out, heardPart{"the place itself", notes, r.Region, asWritten})
		}
	}
	if len(out) > 0 {
		return out
	}
	switch {
	case r.Region.Layer != score.Whole:
		alone := layer(r.Region.Layer)
		if r.Region.Moment {
			alone = slices.DeleteFunc(slices.Clone(all), func(n score.Note) bool { return !slices.Contains(alone, n) })
			add("the "+r.Region.Layer.String()+", built up", alone, builtChords)
		} else {
			add("the "+r.Region.Layer.String()+" alone", alone, asWritten)
		}
		whole()
	case r.Region.Moment:
		add("built up from the bass", all, builtChords)
	default:
		add("the left hand", layer(score.LeftHand), asWritten)
		add("the right hand", layer(score.RightHand), asWritten)
		add("both hands", all, asWritten)
	}
	return out
}

var noteWord = regexp.MustCompile(`^[A-G](#|b|x|##|bb)?-?\d?$`)

// namedNotes returns the notes that a statement names.
func namedNotes(statement string) []noteName {
	var out []noteName
	for _, w := range strings.Fields(statement) {
		if w = strings.Trim(w, ",.;"); noteWord.MatchString(w) {
			if n, err := parseNoteNames("note", []string{w}); err == nil && !slices.Contains(out, n[0]) {
				out = append(out, n[0])
			}
		}
	}
	return out[:min(len(out), 1)]
}

// apartPlan lays out what takenApart gives, and the captions of its parts.
func apartPlan(p *score.Passage, r claim.Result) (*plan, []string, error) {
	made, names := &plan{}, []string{}
	for i, part := range takenApart(p, r) {
		l := listening{slower: 1, shape: part.shape}
		if part.shape == asWritten {
			if seconds := p.Seconds(part.region.To) - p.Seconds(part.region.From); seconds > 0 {
				l.slower = min(max(1, momentLength/seconds), 4)
			}
		}
		n := len(made.parts)
		made.place(fmt.Sprint(i), p, part.notes, part.region, l, i == 0)
		if len(made.parts) > n {
			names = append(names, part.caption)
		}
	}
	if len(made.notes) == 0 {
		return nil, nil, errSilent
	}
	slices.SortStableFunc(made.notes, func(a, b synth.Note) int { return cmp.Compare(a.Start, b.Start) })
	return made, names, nil
}
