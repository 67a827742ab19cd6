package intake

import (
	"testing"
	"time"

	"carryside/assets"
)

// The examples are those of the import contract, section 5.4; weeks follow ISO 8601 (checked against time.ISOWeek below).
func TestReadDate(t *testing.T) {
	day := func(d assets.Day) [2]assets.Day { return [2]assets.Day{d, d} }
	iv := func(a, b assets.Day) [2]assets.Day { return [2]assets.Day{a, b} }
	year := func(y string) [2]assets.Day { return iv(assets.Day(y+"-01-01"), assets.Day(y+"-12-31")) }
	for text, want := range map[string][2]assets.Day{
		"2025-04-03": day("2025-04-03"), "2025/04/03": day("2025-04-03"), "2025.04.03": day("2025-04-03"), "12-Mar-24": day("2024-03-12"), "12 March 2024": day("2024-03-12"),
		"12. März 2024": day("2024-03-12"), "12 de marzo de 2024": day("2024-03-12"), "03.04.2025": day("2025-04-03"), "3.4.25": day("2025-04-03"), "14.05.20": day("2020-05-14"),
		"45060": day("2023-05-14"), "March 12, 2024": day("2024-03-12"), "Mar 12th 2024": day("2024-03-12"), "12/Mar/2024": day("2024-03-12"), "20240312": day("2024-03-12"), "Mon 12 Mar 2024": day("2024-03-12"), "Di, 12.03.2024": day("2024-03-12"), "Tue 2024-03-12": day("2024-03-12"),
		"14. Mai 2020": day("2020-05-14"), "12-mar-2024": day("2024-03-12"), "1 ene 2024": day("2024-01-01"), "2024-Mar-12": day("2024-03-12"), "31-Dez-99": day("1999-12-31"),
		"25/12/2022": day("2022-12-25"), "12/25/2022": day("2022-12-25"), "03/03/2025": day("2025-03-03"), "2025-04-03 00:00": day("2025-04-03"), "2025-04-03T00:00:00Z": day("2025-04-03"),
		"2022": year("2022"), "~2019": year("2019"), "ca. 2019": year("2019"), "about 2019": year("2019"), "c. 2019": year("2019"), "um 2019": year("2019"), "hacia 2019": year("2019"), "approx. 2019": year("2019"),
		"Mar 2024": iv("2024-03-01", "2024-03-31"), "03/2024": iv("2024-03-01", "2024-03-31"), "März 2024": iv("2024-03-01", "2024-03-31"), "marzo 2024": iv("2024-03-01", "2024-03-31"), "marzo de 2024": iv("2024-03-01", "2024-03-31"),
		"2024-02": iv("2024-02-01", "2024-02-29"), "Mar-24": iv("2024-03-01", "2024-03-31"), "09.2023": iv("2023-09-01", "2023-09-30"), "Sept 2023": iv("2023-09-01", "2023-09-30"), "Ende": iv("", ""),
		"2024-W07": iv("2024-02-12", "2024-02-18"), "KW 7/2024": iv("2024-02-12", "2024-02-18"), "S07/2024": iv("2024-02-12", "2024-02-18"), "wk 7 2024": iv("2024-02-12", "2024-02-18"), "7. KW 2024": iv("2024-02-12", "2024-02-18"),
		"week 7, 2024": iv("2024-02-12", "2024-02-18"), "KW07/24": iv("2024-02-12", "2024-02-18"), "2020-W53": iv("2020-12-28", "2021-01-03"), "2021-W53": iv("", ""), "sem. 7 2024": iv("2024-02-12", "2024-02-18"),
		"Q3 2023": iv("2023-07-01", "2023-09-30"), "2023-Q3": iv("2023-07-01", "2023-09-30"), "3. Quartal 2023": iv("2023-07-01", "2023-09-30"), "Q5 2023": iv("", ""),
		"spring 2022": iv("2022-03-01", "2022-05-31"), "summer 2022": iv("2022-06-01", "2022-08-31"), "autumn 2018": iv("2018-09-01", "2018-11-30"), "fall 2018": iv("2018-09-01", "2018-11-30"), "Frühjahr 2022": iv("2022-03-01", "2022-05-31"),
		"Herbst 2019": iv("2019-09-01", "2019-11-30"), "otoño 2019": iv("2019-09-01", "2019-11-30"), "verano de 2020": iv("2020-06-01", "2020-08-31"), "2022 spring": iv("2022-03-01", "2022-05-31"),
		"winter 2021/22": iv("2021-12-01", "2022-02-28"), "Winter 2019/20": iv("2019-12-01", "2020-02-29"), "winter 2021/2022": iv("2021-12-01", "2022-02-28"), "winter 2022": iv("2021-12-01", "2023-02-28"), "invierno 2023/24": iv("2023-12-01", "2024-02-29"),
		"before 2018": iv("", "2017-12-31"), "vor 2018": iv("", "2017-12-31"), "antes de 2018": iv("", "2017-12-31"), "before March 2019": iv("", "2019-02-28"), "after 2018": iv("2019-01-01", ""), "seit 2018": iv("2018-01-01", ""),
		"vor 03.04.2018": iv("", "2018-04-02"),
		"2024-06-31":     iv("", ""), "31.02.2020": iv("", ""), "31/02/2024": iv("", ""), "30/02/2024": iv("", ""), "soon": iv("", ""), "12": iv("", ""), "spring": iv("", ""), "13.13.2020": iv("", ""), "Jan-Feb": iv("", ""), "Run Jan-Feb": iv("", ""),
		"2022-13-01": iv("", ""), "winter 2021/23": iv("", ""), "as before": iv("", ""),
	} {
		r := readDate(text, orderOpen)
		if want == iv("", "") {
			if r.fault != faultNoDate {
				t.Errorf("%q read as %s to %s (%s), want no date", text, r.earliest, r.latest, r.fault)
			}
			continue
		}
		if r.fault != "" || r.earliest != want[0] || r.latest != want[1] {
			t.Errorf("%q read as %s to %s (%s), want %v", text, r.earliest, r.latest, r.fault, want)
		}
		if exact := want[0] == want[1]; r.approximate == exact {
			t.Errorf("%q approximate is %v", text, r.approximate)
		}
	}
}

func TestDatesOfTwoOrders(t *testing.T) {
	for _, c := range []struct {
		text  string
		order dateOrder
		want  assets.Day
	}{
		{"03/04/2025", orderDMY, "2025-04-03"},
		{"03/04/2025", orderMDY, "2025-03-04"},
		{"3-4-25", orderDMY, "2025-04-03"},
		{"24/03/12", orderYMD, "2024-03-12"},
		{"2025-04-03", orderMDY, "2025-04-03"},
		{"3-Apr-25", orderMDY, "2025-04-03"},
		{"03.04.2025", orderMDY, "2025-04-03"},
		{"99/12/31", orderOpen, "1999-12-31"},
	} {
		if r := readDate(c.text, c.order); r.fault != "" || r.earliest != c.want {
			t.Errorf("%q in order %s read as %s (%s), want %s", c.text, c.order, r.earliest, r.fault, c.want)
		}
	}
	for _, text := range []string{"03/04/2025", "3-4-25", "03-04-2025", "05/06/24"} {
		if r := readDate(text, orderOpen); r.fault != faultOpenDate {
			t.Errorf("%q without an order is %q, want ambiguous", text, r.fault)
		}
	}
	for _, text := range []string{"12.03.2021 / 14.05.2022", "2021-03-12, 2022-05-14", "Mar 2019 and Apr 2020", "2019/2020", "12/03/2021 12/04/2022", "2019 & 2021", "12.03.2021\n14.05.2022"} {
		if r := readDate(text, orderOpen); r.fault != faultSeveral {
			t.Errorf("%q is %q, want several values", text, r.fault)
		}
	}
}

// ISO 8601: week 1 is the one with the year's first Thursday. The library's ISOWeek is an independent count.
func TestWeeksAgreeWithTheLibrary(t *testing.T) {
	for d := time.Date(1995, 1, 2, 0, 0, 0, 0, time.UTC); d.Year() < 2035; d = d.AddDate(0, 0, 7) {
		y, w := d.ISOWeek()
		r := readWeek(digits(float64(y)), digits(float64(w)))
		if r.fault != "" || r.earliest != assets.DayOf(d) || r.latest != assets.DayOf(d.AddDate(0, 0, 6)) {
			t.Fatalf("week %d of %d is %s to %s, want it to begin on %s", w, y, r.earliest, r.latest, assets.DayOf(d))
		}
	}
}

// The days are those that spreadsheets show: ECMA-376 part 1, 18.17.4.1 (1 January 1900 is day 1, the 29 February 1900 that
// never was is day 60; in the 1904 system 1 January 1904 is day 0).
func TestSerialDays(t *testing.T) {
	for _, c := range []struct {
		n       float64
		epoch04 bool
		want    assets.Day
	}{
		{1, false, "1900-01-01"}, {59, false, "1900-02-28"}, {61, false, "1900-03-01"}, {45060, false, "2023-05-14"}, {45363, false, "2024-03-12"},
		{0, true, "1904-01-01"}, {43598, true, "2023-05-14"}, {45060.5, false, "2023-05-14"}, {45060.9999999, false, "2023-05-15"},
	} {
		if d, _, ok := serialDay(c.n, c.epoch04); !ok || d != c.want {
			t.Errorf("day %v (1904: %v) is %s, want %s", c.n, c.epoch04, d, c.want)
		}
	}
}

func FuzzReadDate(f *testing.F) {
	for _, s := range []string{"winter 2021/22", "KW 7/2024", "12. März 2024", "before 2018", "03/04/2025", "~", "2024-W53", "32.13.20", "Q0 2020", "12/03/2021 / 3"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, o := range []dateOrder{orderOpen, orderDMY, orderMDY, orderYMD} {
			r := readDate(s, o)
			if r.fault == "" && !r.blank && r.earliest != "" && r.latest != "" && r.earliest > r.latest {
				t.Errorf("%q ends before it begins: %s to %s", s, r.earliest, r.latest)
			}
			if r.fault == "" && !r.blank && !r.approximate && r.earliest != r.latest {
				t.Errorf("%q is exact and yet %s to %s", s, r.earliest, r.latest)
			}
		}
	})
}
