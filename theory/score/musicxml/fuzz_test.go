package musicxml

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"plumbline/theory/score"
)

// FuzzRead reads anything: it must be refused with an *Error or give a passage that keeps its promises, the same one twice. Give -fuzzminimizetime 20x, else making
// interesting inputs smaller takes all the time:
//
//	go test -run xxx -fuzz FuzzRead -fuzztime 60s -fuzzminimizetime 20x ./theory/score/musicxml
func FuzzRead(f *testing.F) {
	files, err := filepath.Glob(filepath.Join("testdata", "*.*ml"))
	more, err2 := filepath.Glob(filepath.Join("testdata", "*.mxl"))
	if err != nil || err2 != nil || len(files)+len(more) < 8 {
		f.Fatalf("%d files in testdata to begin with; want at least 8", len(files)+len(more))
	}
	for _, name := range append(files, more...) {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	for _, s := range []string{
		one(`<divisions>480</divisions><time><beats>3+2</beats><beat-type>8</beat-type></time><staves>2</staves>`,
			n("C4", 69, "<type>16th</type>", tuplet(7, 4))+n("E4", 68, "<type>16th</type>", tuplet(7, 4), staff(2), voiced(5))+back(136)+ahead(3)+n("G4", -1, "slash")+n("C5", 480, `<tie type="start"/>`)+n("E5", 480, "chord"),
			`<measure number="X1" implicit="yes">`+n("C5", 240, `<tie type="stop"/>`)),
		one(common+`<key number="2"><key-step>F</key-step><key-alter>1</key-alter></key><transpose><chromatic>-14</chromatic><octave-change>-1</octave-change></transpose>`,
			`<direction placement="above"><direction-type><wedge type="crescendo"/></direction-type><direction-type><metronome><beat-unit>half</beat-unit><beat-unit-dot/><per-minute>40</per-minute></metronome></direction-type><offset sound="yes">-3</offset><staff>2</staff></direction>`+
				n("F#4", 7, "cue")+`<direction><direction-type><wedge type="stop"/></direction-type></direction><note><unpitched/><duration>2.5</duration></note><sound tempo="50"/>`),
		parts("P1|Voice|1|3", "P2|Piano|2|4"),
		one(common, `<barline location="left"><repeat direction="forward"/><ending number="1, 2" type="start">x</ending></barline>`+say("<segno/>", `<sound segno="a"/>`)+say(`<pedal type="start"/>`, "")+
			n("C4", 8)+n("D4", -1, "grace")+n("F4", -1, "grace", "chord")+`<barline location="middle"><coda/></barline>`+n("C4", 8)+n("E4", -1, "slash")+say("<words>D.S. al Coda</words>", `<sound dalsegno="a"/>`)+
			`<barline><ending number="1" type="stop"/><repeat direction="backward" times="3" after-jump="yes"/></barline>`,
			`<harmony><root><root-step>G</root-step><root-alter>1</root-alter></root><kind text="m7">minor-seventh</kind><bass><bass-step>C</bass-step></bass><degree><degree-value>5</degree-value><degree-alter>-1</degree-alter><degree-type>alter</degree-type></degree></harmony>`+
				say(`<dynamics><p/></dynamics></direction-type><direction-type><dashes type="start"/>`, "")+n("C4", 16)+say(`<dashes type="stop"/>`, "")),
		`<?xml version="1.0" encoding="US-ASCII"?><!DOCTYPE x [<!ENTITY a "b">]><score-timewise><measure number="1"><part id="P1"/><part id="P2"/></measure></score-timewise>`,
	} {
		f.Add([]byte(s))
	}
	f.Add([]byte(archive(f, containerName, container("a.xml"), "a.xml", one(common, n("C4", 16)))))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Read(bytes.NewReader(data), Options{})
		var e *Error
		if err != nil {
			if p != nil || !errors.As(err, &e) {
				t.Fatalf("%v with an error %T: %v", p, err, err)
			}
			return
		}
		check(t, p)
		if q, err := Read(bytes.NewReader(data), Options{}); err != nil || !reflect.DeepEqual(p, q) {
			t.Fatalf("read twice:\n%+v\n%+v, %v", p, q, err)
		}
		// What is read can be written, or is refused for one of the reasons that Write gives; and it is read again as it was.
		var out bytes.Buffer
		if err := Write(&out, p, WriteOptions{}); err == nil {
			q, err := Read(bytes.NewReader(out.Bytes()), Options{})
			if err != nil {
				t.Fatalf("written and read again: %v\n%s", err, out.String())
			}
			if len(q.Notes) == len(p.Notes) { // else some were split
				if d := score.Diff(p, q); d != "" {
					t.Fatalf("written and read again: %s\n%s", d, out.String())
				}
			}
		}
		for i := range p.Parts { // any part can be asked for; by its id or name, if they are plain
			if _, err := Read(bytes.NewReader(data), Options{Part: p.Parts[i].ID}); err != nil && !errors.As(err, &e) {
				t.Fatalf("part %q: %v", p.Parts[i].ID, err)
			}
		}
	})
}
