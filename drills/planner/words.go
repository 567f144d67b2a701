package planner

import (
	"fmt"
	"math"
	"time"
)

// reasons says in a sentence or two why a skill is asked now.
func (p *Planner) reasons(s *state, now time.Time) []string {
	name := s.item.Label
	if s.seen == 0 {
		return []string{fmt.Sprintf("%s is new: it comes next in order.", first(name))}
	}
	var out []string
	if late := now.Sub(s.card.Due); late >= 0 && s.today.Asked == 0 || late >= 24*time.Hour {
		days := int(late.Hours() / 24)
		when := "today"
		if days > 0 {
			when = fmt.Sprintf("for %s", daysWords(days))
		}
		out = append(out, fmt.Sprintf("%s has been due %s: last asked %s before, the chance that you still have it is put at %.0f %%.",
			first(name), when, daysWords(max(int(now.Sub(s.card.LastReview).Hours()/24), 0)), 100*p.recall(s, now)))
	}
	acc := s.ability.Accuracy(0, standardChoices)
	low, high := s.ability.Interval(0.9)
	l, h := chance(low, 0, standardChoices), chance(high, 0, standardChoices)
	switch {
	case acc < Known:
		out = append(out, fmt.Sprintf("%s needs work: among 4 choices you would get it %.0f %% of the time, probably %.0f to %.0f %%.", first(name), 100*acc, 100*l, 100*h))
	case len(out) == 0 && h-l > 0.25:
		out = append(out, fmt.Sprintf("Too little is known about %s: among 4 choices you would get it somewhere from %.0f to %.0f %% of the time.", name, 100*l, 100*h))
	case len(out) == 0:
		out = append(out, fmt.Sprintf("Nothing is due and nothing weak: %s is one of the less sure things, %.0f %% among 4 choices.", name, 100*acc))
	}
	return out
}

// howHard says how hard a step is made, and why.
func howHard(step Step) string {
	what := fmt.Sprintf("%d choices, %s", len(step.Labels), step.Setting.Words())
	if step.Sight {
		what = fmt.Sprintf("%d choices", len(step.Labels))
	}
	aim := math.Round(100 * Target)
	switch ch := 100 * step.Chance; {
	case ch > aim+5:
		return fmt.Sprintf("%s: you would get %.0f %% of such questions; nothing harder is at hand.", what, ch)
	case ch < aim-5:
		return fmt.Sprintf("%s: you would get %.0f %% of such questions; nothing easier is at hand.", what, ch)
	default:
		return fmt.Sprintf("%s: you would get %.0f %% of such questions, and %.0f %% is what is aimed at.", what, ch, aim)
	}
}

func daysWords(n int) string {
	switch n {
	case 0:
		return "less than a day"
	case 1:
		return "a day"
	}
	return fmt.Sprintf("%d days", n)
}

// first writes a label at the beginning of a sentence.
func first(s string) string {
	if s == "" || s[0] < 'a' || s[0] > 'z' {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}
