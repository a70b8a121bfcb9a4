package lang

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// distance counts the insertions, deletions, replacements and swaps of
// neighbours between two words (Damerau 1964, optimal string alignment).
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	var room [3 * 80]int // enough for words that are compared; longer ones make their own
	rows := room[:]
	if n := 3 * (len(y) + 1); n > len(rows) {
		rows = make([]int, n)
	}
	n := len(y) + 1
	prev2, prev, cur := rows[:n], rows[n:2*n], rows[2*n:3*n]
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(x); i++ {
		cur[0] = i
		for j := 1; j <= len(y); j++ {
			c := 1
			if x[i-1] == y[j-1] {
				c = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+c)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
		prev2, prev, cur = prev, cur, prev2
	}
	return prev[len(y)]
}

// nearest returns the candidate nearest to word, or "" where none is near
// enough to be what was meant. Of equals the first is taken, so that the
// answer depends on the order of the candidates alone.
func nearest(word string, candidates []string) string {
	if len(word) > 64 {
		return ""
	}
	low := strings.ToLower(word)
	if s, ok := synonyms[low]; ok && slices.Contains(candidates, s) {
		return s
	}
	n := utf8.RuneCountInString(word)
	limit := 1
	switch {
	case n >= 9:
		limit = 3
	case n >= 5:
		limit = 2
	}
	best, at := "", 99
	for _, c := range candidates {
		if d := utf8.RuneCountInString(c) - n; d > limit || -d > limit {
			continue // as many letters are lacking or too many
		}
		if d := distance(low, strings.ToLower(c)); d < at {
			best, at = c, d
		}
	}
	if at > limit || at >= n {
		return ""
	}
	return best
}

// didYouMean makes the hint for a near word, or none.
func didYouMean(word string, candidates []string) []string {
	if w := nearest(word, candidates); w != "" {
		return []string{"did you mean " + w + "?"}
	}
	return nil
}

// Count is a number with its word: "1 file", "2 files".
func Count(n int, word string) string {
	if n != 1 {
		word += "s"
	}
	return fmt.Sprintf("%d %s", n, word)
}

// orList joins words: "a", "a or b", "a, b or c".
func orList(words []string) string { return joinList(words, " or ") }

func andList(words []string) string { return joinList(words, " and ") }

func joinList(words []string, last string) string {
	switch len(words) {
	case 0:
		return ""
	case 1:
		return words[0]
	}
	return strings.Join(words[:len(words)-1], ", ") + last + words[len(words)-1]
}
