package drills

import (
	"bytes"
	"embed"
	"fmt"
	"strings"
	"sync"
)

//go:embed decks
var deckFiles embed.FS

// readyNames are the ready-made decks in the order in which they are best taken, easy to hard.
var readyNames = []string{"first-chords", "where-it-lies", "in-a-key", "sevenths", "bass-lines", "lines", "rhythm", "colours", "fine-ear", "on-paper"}

// ReadyDecks returns the ready-made decks in the order in which they are best taken, easy to hard.
var ReadyDecks = sync.OnceValue(func() []*Deck {
	var out []*Deck
	for _, n := range readyNames {
		b, err := deckFiles.ReadFile("decks/" + n + ".deck")
		if err != nil {
			continue // TestReadyDecks sees to it that all are there
		}
		d, err := ReadDeck(n+".deck", bytes.NewReader(b))
		if err != nil {
			continue
		}
		d.Name = n
		out = append(out, d)
	}
	return out
})

// ReadyDeck returns a ready-made deck by its name, and whether there is one.
func ReadyDeck(name string) (*Deck, bool) {
	for _, d := range ReadyDecks() {
		if strings.EqualFold(d.Name, strings.TrimSpace(name)) {
			return d, true
		}
	}
	return nil, false
}

// Path says in a line how a deck goes from easy to hard: "major or minor, triads, triads and suspensions".
func (d *Deck) Path() string {
	var names []string
	for _, st := range d.Steps {
		names = append(names, st.Name)
	}
	return fmt.Sprintf("%d steps: %s", len(names), strings.Join(names, "; "))
}
