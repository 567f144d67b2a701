package typed

import (
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A pos is a place in the text: a line, and bytes into it.
type pos struct{ line, at int }

// maxTokens is the most that the lines of one hand under one bar line may hold.
const maxTokens = 2_000_000

type kind int8

const (
	aWord    kind = iota // a value, a note or chord, a rest, a full stop
	aTuplet              // "3in2(", text without the bracket
	itsEnd               // ")"
	aMark                // "[…]", text without the brackets
	aBarLine             // "|"
)

type token struct {
	pos
	kind kind
	text string
}

// lex cuts the line from byte i on into tokens and adds them to toks. At a bracket without its other half it stops and says so.
func lex(toks []token, line string, n, i int) (more []token, at pos, msg string) {
	for i < len(line) {
		r, w := utf8.DecodeRuneInString(line[i:])
		here := pos{n, i}
		if len(toks) >= maxTokens {
			return toks, here, "too much in one line; begin another block of bars"
		}
		switch {
		case unicode.IsSpace(r):
			i += w
		case r == '|':
			toks = append(toks, token{here, aBarLine, "|"})
			i++
		case r == ')':
			toks = append(toks, token{here, itsEnd, ")"})
			i++
		case r == '[':
			end := strings.IndexByte(line[i:], ']')
			if end < 0 {
				return toks, here, "a [ without its ]"
			}
			toks = append(toks, token{here, aMark, line[i+1 : i+end]})
			i += end + 1
		case r == ']':
			return toks, here, "a ] without its ["
		default:
			end := strings.IndexFunc(line[i:], func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune("|()[]", r) })
			if end < 0 {
				end = len(line) - i
			}
			if i+end < len(line) && line[i+end] == '(' {
				toks = append(toks, token{here, aTuplet, line[i : i+end]})
				end++
			} else {
				toks = append(toks, token{here, aWord, line[i : i+end]})
			}
			i += end
		}
	}
	return toks, pos{}, ""
}

// withoutComment cuts off a comment: from a # that is the first sign of a line or stands between spaces, outside quotes.
func withoutComment(line string) string {
	quotes := true
	for i := 0; i < len(line); i++ {
		switch line[i] {
		case '"':
			if !quotes {
				continue
			}
			q, err := strconv.QuotedPrefix(line[i:])
			if quotes = err == nil; quotes { // after one that isn't closed, none is looked for
				i += len(q) - 1
			}
		case '#':
			first := i == 0 || isBlank(line[i-1]) && strings.Trim(line[:i], " \t") == ""
			if first || isBlank(line[i-1]) && (i+1 == len(line) || isBlank(line[i+1])) {
				return line[:i]
			}
		}
	}
	return line
}

func isBlank(b byte) bool { return b == ' ' || b == '\t' }

var (
	handLead = regexp.MustCompile(`^(?i)\s*(right|left|rh|lh|between)\b(?:\s+hand\b)?\s*([0-9]*)\s*(\+?)\s*(:?)`)
	barLead  = regexp.MustCompile(`^(?i)\s*(bars?)\b\s*`)
	wordLead = regexp.MustCompile(`^\s*([\pL]+)\s*:`)
)
