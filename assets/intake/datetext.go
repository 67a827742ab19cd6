package intake

import (
	"regexp"
	"strconv"
	"strings"
	"unicode"
)

// dateWord is one word or number of a date in words.
type dateWord struct {
	text   string // folded
	number bool
}

// readWords reads a date that has words or signs in it: months, weeks, quarters, seasons, "about", "before".
func readWords(text string, order dateOrder) readDateResult {
	if m := wordBefore.FindStringSubmatch(text); m != nil {
		if r, ok := besideWord(fold(m[1]), m[2], order); ok {
			return r
		}
	}
	words, sign := dateWords(text)
	if len(words) == 0 || len(words) > 9 {
		return noDate()
	}
	about := sign == '~'
	for len(words) > 0 && !words[0].number {
		w := words[0].text
		switch {
		case aboutWords[w]:
			about = true
		case weekdayWords[w] && len(words) > 2:
		case fillWords[w]:
		case beforeWords[w]:
			return openAt(readWordsIn(words[1:]), true, false)
		case afterWords[w]:
			return openAt(readWordsIn(words[1:]), false, false)
		case sinceWords[w]:
			return openAt(readWordsIn(words[1:]), false, true)
		default:
			return approximately(readWordsIn(words), about)
		}
		words = words[1:]
	}
	switch sign {
	case '<':
		return openAt(readWordsIn(words), true, false)
	case '>':
		return openAt(readWordsIn(words), false, false)
	}
	return approximately(readWordsIn(words), about)
}

var wordBefore = regexp.MustCompile(`^(\p{L}+)[.,]*\s+(?:de\s+|del\s+)?(\d[\d./-]*)$`)

// besideWord reads a date of numbers behind a word such as "before"; ok is false for other words.
func besideWord(word, rest string, order dateOrder) (r readDateResult, ok bool) {
	switch {
	case beforeWords[word]:
		return openAt(readDay(rest, order), true, false), true
	case afterWords[word]:
		return openAt(readDay(rest, order), false, false), true
	case sinceWords[word]:
		return openAt(readDay(rest, order), false, true), true
	case aboutWords[word]:
		return approximately(readDay(rest, order), true), true
	case weekdayWords[word]:
		return readDay(rest, order), true
	}
	return r, false
}

// approximately marks a date that was written with "about".
func approximately(r readDateResult, about bool) readDateResult {
	if about && r.fault == "" {
		r.approximate = true
	}
	return r
}

// openAt opens an interval at one end: before 2018 ends on the last day of 2017, after 2018 begins with 2019, since 2018
// with 2018.
func openAt(r readDateResult, before, from bool) readDateResult {
	if r.fault != "" {
		return r
	}
	r.approximate = true
	switch {
	case before:
		r.latest = r.earliest.AddDays(-1)
		r.earliest = ""
	case from:
		r.latest = ""
	default:
		r.earliest, r.latest = r.latest.AddDays(1), ""
	}
	return r
}

// dateWords splits a text into folded words and numbers and returns the sign before them, if it has a meaning. Any sign
// that dates do not have gives nothing.
func dateWords(text string) (words []dateWord, sign rune) {
	for _, r := range text {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune(" .,/'()\u00b4-", r):
		case strings.ContainsRune("~≈<>", r) && sign == 0:
			sign = r
			if r == '≈' {
				sign = '~'
			}
		case r == 'º' || r == 'ª' || r == '°':
		default:
			if !unicode.IsMark(r) {
				return nil, 0
			}
		}
	}
	for _, t := range lettersOrNo.FindAllString(strings.ToLower(text), -1) {
		f := fold(t)
		words = append(words, dateWord{text: f, number: t[0] >= '0' && t[0] <= '9'})
	}
	return words, sign
}

// readWordsIn reads the words behind "about" or "before".
func readWordsIn(words []dateWord) readDateResult {
	var numbers []string
	month, week, quarter, part := 0, false, false, noSeason
	for i, w := range words {
		switch {
		case w.number:
			numbers = append(numbers, w.text)
		case monthNumber[w.text] > 0 && month == 0:
			month = monthNumber[w.text]
		case seasonNamed[w.text] != noSeason && part == noSeason:
			part = seasonNamed[w.text]
		case weekWords[w.text] && !week && !quarter:
			week = true
		case quarterWords[w.text] && !quarter && !week:
			quarter = true
		case fillWords[w.text], i == 0 && weekdayWords[w.text]:
		default:
			return noDate()
		}
	}
	switch {
	case part != noSeason && month == 0 && !week && !quarter:
		return seasonOf(part, numbers)
	case month > 0 && part == noSeason && !week && !quarter:
		return monthInWords(month, numbers, words)
	case week && month == 0 && part == noSeason:
		return weekInWords(numbers)
	case quarter && month == 0 && part == noSeason:
		return quarterInWords(numbers)
	case month == 0 && part == noSeason && !week && !quarter && len(numbers) == 1 && len(numbers[0]) == 4:
		return yearText(numbers[0])
	case month == 0 && part == noSeason && !week && !quarter && len(numbers) == 3:
		return numbersOnly(numbers)
	case month == 0 && part == noSeason && !week && !quarter && len(numbers) == 2 && len(numbers[1]) == 4:
		return readMonth(numbers[1], numbers[0])
	}
	return noDate()
}

// numbersOnly reads an ISO date behind a word such as "before".
func numbersOnly(n []string) readDateResult {
	switch {
	case len(n[0]) == 4:
		return dayOrNone(n[0], n[1], n[2])
	case len(n[2]) == 4:
		return readOpen(n[0], n[1], n[2], orderOpen)
	}
	return noDate()
}

func yearText(s string) readDateResult {
	y, _ := strconv.Atoi(s)
	if y < 1900 || y > 2199 {
		return noDate()
	}
	return yearOf(y)
}

// monthInWords reads a day or a month with the month's name in it.
func monthInWords(month int, numbers []string, words []dateWord) readDateResult {
	m := strconv.Itoa(month)
	switch len(numbers) {
	case 1:
		if len(numbers[0]) == 4 || len(numbers[0]) == 2 {
			return readMonth(numbers[0], m)
		}
	case 2:
		day, year := numbers[0], numbers[1]
		if len(day) == 4 {
			day, year = year, day
		}
		if len(day) <= 2 && (len(year) == 4 || len(year) == 2) {
			return dayOrNone(year, m, day)
		}
	}
	return noDate()
}

// weekInWords reads "KW 7/2024", "wk 7 2024", "2024 W07".
func weekInWords(numbers []string) readDateResult {
	if len(numbers) != 2 {
		return noDate()
	}
	week, year := numbers[0], numbers[1]
	if len(week) == 4 {
		week, year = year, week
	}
	if len(week) > 2 || (len(year) != 4 && len(year) != 2) {
		return noDate()
	}
	return readWeek(year, week)
}

// quarterInWords reads "Q3 2023", "2023-Q3".
func quarterInWords(numbers []string) readDateResult {
	if len(numbers) != 2 {
		return noDate()
	}
	q, year := numbers[0], numbers[1]
	if len(q) == 4 {
		q, year = year, q
	}
	n, _ := strconv.Atoi(q)
	if len(q) != 1 || n < 1 || n > 4 || (len(year) != 4 && len(year) != 2) {
		return noDate()
	}
	y := fullYear(year)
	from, _ := civil(y, 3*n-2, 1)
	return between(from, monthEnd(y, 3*n))
}

// seasonOf reads a season of a year. A winter runs from December to the end of February, so that winter 2021/22 is one
// and winter 2022 can be two.
func seasonOf(part season, numbers []string) readDateResult {
	if len(numbers) == 0 || len(numbers) > 2 || (len(numbers[0]) != 4 && len(numbers[0]) != 2) {
		return noDate()
	}
	y := fullYear(numbers[0])
	pair := len(numbers) == 2
	if pair && (part != winter || secondYear(y, numbers[1]) != y+1) {
		return noDate()
	}
	var r readDateResult
	switch {
	case part == spring:
		r = span(y, 3, y, 5)
	case part == summer:
		r = span(y, 6, y, 8)
	case part == autumn:
		r = span(y, 9, y, 11)
	case pair:
		r = span(y, 12, y+1, 2)
	default:
		r = span(y-1, 12, y+1, 2)
	}
	r.season = true
	return r
}

// secondYear reads the second year of a winter: 22 behind 2021 is 2022.
func secondYear(first int, s string) int {
	if len(s) == 4 {
		return fullYear(s)
	}
	n, _ := strconv.Atoi(s)
	y := first/100*100 + n
	if y < first {
		y += 100
	}
	return y
}

func span(y1, m1, y2, m2 int) readDateResult {
	from, ok := civil(y1, m1, 1)
	if !ok {
		return noDate()
	}
	return between(from, monthEnd(y2, m2))
}
