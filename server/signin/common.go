package signin

import (
	_ "embed"
	"strings"
	"sync"
	"unicode"
)

// commonWords are words that passwords are commonly made of, one a line: common knowledge, collected by ourselves.
// With what people put round them (capitals, digits for letters, years, exclamation marks, the word twice) they
// stand for some millions of passwords, the few thousand most used among them.
//
//go:embed commonwords.txt
var commonWords string

var wordSet = sync.OnceValue(func() map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(commonWords) {
		set[w] = true
	}
	return set
})

// keyRows are runs of keys, of letters and of digits.
var keyRows = []string{"qwertyuiop", "asdfghjkl", "zxcvbnm", "qwertzuiop", "yxcvbnm", "azertyuiop", "qsdfghjklm", "wxcvbn",
	"1234567890", "abcdefghijklmnopqrstuvwxyz", "1q2w3e4r5t6y7u8i9o0p", "q1w2e3r4t5y6u7i8o9p0", "qazwsxedcrfvtgbyhnujmikolp", "!@#$%^&*()", "147258369"}

// letters are what digits and signs stand for in words.
var letters = strings.NewReplacer("0", "o", "1", "i", "3", "e", "4", "a", "5", "s", "7", "t", "@", "a", "$", "s", "!", "i")

// Common tells whether a password is among the first that a guesser tries: a common word or two, a name, a run of
// keys or digits, a date, the same again and again, with whatever is usually put before and behind.
func Common(password string, names ...string) bool {
	p := strings.ToLower(password)
	if listed()[p] {
		return true
	}
	if unit := smallestUnit(p); len(unit) <= len(p)/2 {
		if len(unit) <= 4 {
			return true
		}
		p = unit
	}
	if dull(p) {
		return true
	}
	own := map[string]bool{}
	for _, n := range names {
		for _, w := range strings.FieldsFunc(strings.ToLower(n), func(r rune) bool { return !unicode.IsLetter(r) }) {
			own[w] = len(w) > 2
		}
	}
	for _, form := range []string{p, letters.Replace(p), letters.Replace(strings.TrimRightFunc(p, notLetter)), letters.Replace(strings.TrimFunc(p, notLetter))} {
		if ofWords(form, own, 2) {
			return true
		}
	}
	return false
}

func notLetter(r rune) bool { return !unicode.IsLetter(r) }

// smallestUnit is what a text repeats: "abc" of "abcabcabc", the text itself when it repeats nothing.
func smallestUnit(s string) string {
	for n := 1; n <= len(s)/2; n++ {
		if len(s)%n == 0 && strings.Repeat(s[:n], len(s)/n) == s {
			return s[:n]
		}
	}
	return s
}

// dull tells whether a password is digits and signs only (a date, a telephone number) or a run of keys with little
// else.
func dull(p string) bool {
	letters := strings.TrimFunc(p, notLetter)
	if letters == "" && len(p) < 16 {
		return true
	}
	rest := p
	for _, row := range keyRows {
		for _, run := range []string{row, reverse(row)} {
			rest = cutRuns(rest, run)
		}
	}
	return len(strings.TrimFunc(rest, notLetter)) < 3 && len(rest)*2 < len(p)+1
}

// cutRuns takes stretches of four and more of a row out of a text.
func cutRuns(s, row string) string {
	var out strings.Builder
	for s != "" {
		n := 0
		for k := min(len(s), len(row)); k >= 4 && n == 0; k-- {
			if strings.Contains(row, s[:k]) {
				n = k
			}
		}
		if n == 0 {
			out.WriteByte(s[0])
			n = 1
		}
		s = s[n:]
	}
	return out.String()
}

func reverse(s string) string {
	b := []byte(s)
	for i, j := 0, len(b)-1; i < j; i, j = i+1, j-1 {
		b[i], b[j] = b[j], b[i]
	}
	return string(b)
}

// ofWords tells whether a text is a number of common words at most, with digits and signs between and around them.
func ofWords(s string, own map[string]bool, most int) bool {
	s = strings.TrimFunc(s, notLetter)
	if s == "" {
		return true
	}
	if most == 0 {
		return false
	}
	for n := len(s); n >= 3; n-- {
		if (wordSet()[s[:n]] || own[s[:n]]) && ofWords(s[n:], own, most-1) {
			return true
		}
	}
	return false
}
