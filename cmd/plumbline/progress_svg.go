package main

import (
	"fmt"
	"html"
	"io"
	"strings"

	"plumbline/progress"
)

// The picture of progress is drawn with lines, circles and numbers alone, so that it says the same in black and white, and
// carries a text that says it for who doesn't see it.

const (
	svgWidth = 760
	svgLeft  = 250 // of the axis
	svgAxis  = 380
	svgRow   = 20
)

// writeProgressSVG draws a page as one SVG.
func writeProgressSVG(w io.Writer, p progressPage, who string) error {
	var b strings.Builder
	var told []string
	y := 64.0
	text := func(x, y float64, anchor, class, s string) {
		fmt.Fprintf(&b, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\" class=\"%s\">%s</text>\n", x, y, anchor, class, html.EscapeString(s))
	}
	line := func(x1, y1, x2, y2 float64, class string) {
		fmt.Fprintf(&b, "<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"%s\"/>\n", x1, y1, x2, y2, class)
	}
	at := func(share float64) float64 { return svgLeft + svgAxis*share }
	whisker := func(y float64, share, low, high float64) {
		line(at(low), y, at(high), y, "range")
		line(at(low), y-4, at(low), y+4, "range")
		line(at(high), y-4, at(high), y+4, "range")
		fmt.Fprintf(&b, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"4\" class=\"dot\"/>\n", at(share), y)
	}
	scale := func(top, bottom float64) {
		for _, q := range []float64{0, 0.25, 0.5, 0.75, 1} {
			line(at(q), top, at(q), bottom, "grid")
			text(at(q), top-6, "middle", "small", fmt.Sprintf("%.0f %%", 100*q))
		}
	}
	title := "What is heard"
	if who != "" {
		title += " by " + who
	}
	for _, g := range p.Groups {
		head := heading(g.Kind, g.Mode)
		text(24, y, "start", "head", fmt.Sprintf("%s: %d of %d right", head, g.Total.Right, g.Total.Asked))
		y += 36
		scale(y-10, y+svgRow*float64(len(g.Rows))-8)
		for _, r := range g.Rows {
			text(svgLeft-14, y+4, "end", "name", r.Label.Label)
			whisker(y, r.Total.Accuracy, r.Total.Low, r.Total.High)
			text(svgLeft+svgAxis+14, y+4, "start", "small", fmt.Sprintf("%d/%d, due %s", r.Total.Right, r.Total.Asked, dueWords(r.Due, p.now)))
			told = append(told, fmt.Sprintf("%s, %s: %d of %d right, range %s to %s %%.", head, r.Label.Label, r.Total.Right, r.Total.Asked, percent(r.Total.Low), percent(r.Total.High)))
			y += svgRow
		}
		if weeks := g.weeks(p.now); len(weeks) > 1 {
			y += 30
			text(24, y, "start", "name", "Week by week")
			scale(y+12, y+18+svgRow*float64(len(weeks)))
			y += 26
			for i, k := range weeks {
				low, high := progress.Wilson(k.Right, k.Asked)
				share := float64(k.Right) / float64(k.Asked)
				text(svgLeft-14, y+4, "end", "small", "from "+k.Start().Format("2 January"))
				if i > 0 {
					before := weeks[i-1]
					line(at(float64(before.Right)/float64(before.Asked)), y-svgRow, at(share), y, "path")
				}
				whisker(y, share, low, high)
				text(svgLeft+svgAxis+14, y+4, "start", "small", fmt.Sprintf("%d/%d", k.Right, k.Asked))
				told = append(told, fmt.Sprintf("%s, week from %s: %d of %d right.", head, k.Start().Format("2 January"), k.Right, k.Asked))
				y += svgRow
			}
		}
		if m := g.confusionMatrix(12); len(m.labels) > 1 {
			y += 34
			text(24, y, "start", "name", "What it was (rows), and what was said (columns); framed: right")
			y += 26
			const cell = 34.0
			for j := range m.labels {
				text(svgLeft+cell*(float64(j)+0.5), y-8, "middle", "small", string(rune('a'+j)))
			}
			text(svgLeft+cell*(float64(len(m.labels))+0.8), y-8, "middle", "small", "none")
			for i, l := range m.labels {
				text(svgLeft-14, y+15, "end", "name", fmt.Sprintf("%s  %c", l, 'a'+i))
				for j, n := range m.count[i] {
					class := "cell"
					if i == j {
						class = "right"
					}
					x := svgLeft + cell*float64(j)
					inset := 0.0
					if i == j {
						inset = 2
					}
					fmt.Fprintf(&b, "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" class=\"%s\"/>\n", x+inset, y+inset, cell-2*inset, 22-2*inset, class)
					if n > 0 {
						text(x+cell/2, y+15, "middle", "small", fmt.Sprint(n))
						if i != j {
							told = append(told, fmt.Sprintf("%s was taken for %s %s.", upperFirst(l), m.labels[j], times(n)))
						}
					}
				}
				if m.gaveUp[i] > 0 {
					text(svgLeft+cell*(float64(len(m.labels))+0.8), y+15, "middle", "small", fmt.Sprint(m.gaveUp[i]))
				}
				y += 22
			}
		}
		y += 30
		for _, s := range g.Words {
			told = append(told, s)
			for _, l := range strings.Split(wrap(s, 100, ""), "\n") {
				text(24, y, "start", "words", l)
				y += 18
			}
		}
		y += 30
	}
	day := p.now.Format("2 January 2006")
	_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %.0f" role="img" aria-labelledby="title text">
<title id="title">%s, %s</title>
<desc id="text">%s</desc>
<style>
svg { background: #fff } text { font-family: Georgia, "Times New Roman", serif; fill: #111; font-size: 13px }
.top { font-size: 20px } .head { font-size: 16px } .small { font-size: 11px } .words { font-size: 13px; font-style: italic }
line { stroke: #111 } .grid { stroke: #bbb; stroke-width: .6 } .range { stroke-width: 1.1 } .path { stroke-width: .7; stroke-dasharray: 3 3 }
.dot { fill: #fff; stroke: #111; stroke-width: 1.6 } .cell { fill: none; stroke: #bbb; stroke-width: .6 } .right { fill: none; stroke: #111; stroke-width: 1.4 }
</style>
<text x="24" y="32" class="top">%s</text>
<text x="%d" y="32" text-anchor="end" class="small">%s</text>
%s</svg>
`, svgWidth, y, html.EscapeString(title), day, html.EscapeString(strings.Join(told, " ")), html.EscapeString(title), svgWidth-24, day, b.String())
	return err
}
