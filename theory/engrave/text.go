package engrave

import "strings"

// textWidth returns how wide a text is at most, in units of its type size. The page's font isn't known: these are the widths of
// a broad one, so that texts that don't meet here don't meet on the page.
func textWidth(s string) float64 {
	w := 0.0
	for _, r := range s {
		switch {
		case strings.ContainsRune("il.,:;|!'jI()[]", r):
			w += .43
		case strings.ContainsRune("tfr -/°\"", r):
			w += .48
		case strings.ContainsRune("mwMW@", r):
			w += 1.05
		case r >= 'A' && r <= 'Z':
			w += .78
		case r >= '0' && r <= '9':
			w += .64
		case strings.ContainsRune("+=<>~×", r):
			w += .86
		case r >= 0x2e80 || r == '—':
			w += 1.05
		default:
			w += .66
		}
	}
	return w
}

// figures splits a numeral into what stands on the line and the figures set over one another behind it: "V", "65". Figures
// after a letter or a sign of quality count; "V65/V" has its figures before the stroke.
func figures(s string) (head, figs, rest string) {
	head = s
	if i := strings.IndexByte(s, '/'); i > 0 && strings.ContainsAny(s[i+1:], "iIvV") {
		head, rest = s[:i], s[i:]
	}
	i := len(head)
	for i > 0 && head[i-1] >= '2' && head[i-1] <= '9' {
		i--
	}
	if i == 0 || i == len(head) {
		return head, "", rest
	}
	return head[:i], head[i:], rest
}
