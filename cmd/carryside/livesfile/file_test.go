package livesfile

import (
	"strings"
	"testing"

	"carryside/schedule/life"
)

func TestFormsThatAreRead(t *testing.T) {
	for name, text := range map[string]string{
		"plain":                     "event,life,entry,count,cohort\nfailed,900,100,2,wash\n",
		"columns in another order":  "cohort,count,entry,life,event\nwash,2,100,900,failed\n",
		"any case, spaces, CRLF":    " EVENT ,Life, Entry,COUNT,Cohort\r\n FAILED , 9e2 ,100,2, wash \r\n",
		"byte order mark":           "\ufeffevent,life,entry,count,cohort\nfailed,900,100,2,wash\n",
		"quoted, spaces outside":    "event,life,entry,count,cohort\n \"failed\" ,\"900\",100,2.0,\"wash\"\n",
		"blank lines, no final one": "\n\nevent,life,entry,count,cohort\n\n  \nfailed,900,100,2,wash",
		"no width":                  "event,lower,upper,entry,count,cohort\ninterval,900,900,100,2,wash\n",
	} {
		t.Run(name, func(t *testing.T) {
			f, err := Read([]byte(text))
			if err != nil || len(f.Cohorts) != 1 || f.Cohorts[0].Name != "wash" || len(f.Cohorts[0].Lives) != 1 || len(f.Ignored) != 0 {
				t.Fatalf("%+v, %v", f, err)
			}
			o := f.Cohorts[0].Lives[0]
			if max(o.Life, o.Upper) != 900 || o.Entry != 100 || o.Count != 2 || o.Event == life.Censored {
				t.Errorf("%+v", o)
			}
		})
	}
}

func TestCohortsAndIgnoredColumns(t *testing.T) {
	f, err := Read([]byte("event,upper,Cohort,Entrie,entry,\ninterval,9,b,1,3,\ninterval,7,,1,,\ninterval,8,b,1,,\n"))
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Cohorts) != 2 || f.Cohorts[0].Name != "b" || f.Cohorts[1].Name != "all" || len(f.Cohorts[0].Lives) != 2 {
		t.Errorf("cohorts %+v", f.Cohorts)
	}
	if strings.Join(f.Ignored, "|") != "Entrie|" {
		t.Errorf("ignored %q", f.Ignored)
	}
	if lower := f.Cohorts[0].Lives[0].Lower; lower != 3 {
		t.Errorf("a blank lower end is %g, want the entry", lower)
	}
}

func TestLinesThatAreRefused(t *testing.T) {
	for name, tt := range map[string]struct{ text, says string }{
		"life before a quoted break":     {"note,event,life\n\"a\nb\",failed,3\nx,failed,0\n", "line 4: life"},
		"inside a record of two lines":   {"note,event,life\n\"a\nb\",failed,0\n", "lines 2 to 3: life"},
		"too few fields":                 {"event,life,cohort\nfailed,3\n", "line 2: there are 2 fields"},
		"too many fields":                {"event,life\nfailed,3,4\n", "line 2: there are 3 fields"},
		"column twice":                   {"event,life,Life\nfailed,3,4\n", "line 1: the column life"},
		"no event":                       {"life\n3\n", "line 1: there is no column event"},
		"life filled beside an interval": {"event,life,upper\ninterval,3,4\n", "line 2: life"},
		"lower filled beside a failure":  {"event,life,lower\nfailed,3,1\n", "line 2: lower"},
		"lower below entry":              {"event,lower,upper,entry\ninterval,1,9,2\n", "line 2: lower"},
		"upper at entry":                 {"event,upper,entry\ninterval,9,9\n", "line 2: upper"},
		"entry negative":                 {"event,life,entry\nfailed,3,-1\n", "line 2: entry"},
		"count of a half":                {"event,life,count\nfailed,3,1.5\n", "line 2: count"},
		"hexadecimal":                    {"event,life\nfailed,0x1p4\n", "line 2: life"},
		"endless":                        {"event,life\nfailed,1e999\n", "line 2: life"},
		"infinite":                       {"event,life\nfailed,inf\n", "line 2: life"},
		"blank event":                    {"event,life\n,3\n", "line 2: event"},
		"quote never closed":             {"event,life\n\"failed,3\n", "line 2: a quoted field"},
		"text after a quote":             {"event,life\n\"failed\"x,3\n", "line 2: text follows"},
		"not UTF-8":                      {"event,life,cohort\nfailed,3,\xff\n", "line 2, field 3"},
		"nothing":                        {"", "empty"},
		"only a mark and blank lines":    {"\ufeff\n \n", "empty"},
		"only a header":                  {"event,life\n", "no lives"},
	} {
		t.Run(name, func(t *testing.T) {
			if f, err := Read([]byte(tt.text)); err == nil || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("got %+v, %v; want %q", f, err, tt.says)
			}
		})
	}
}

// FuzzRead holds that no text makes the reading panic, and that what it hands on can be fitted.
func FuzzRead(f *testing.F) {
	for _, seed := range []string{"event,life\nfailed,3\n", "event,upper,cohort\ninterval,3,\"a\n\"\"b\"\n", "\"", "event\n\"\r\n", "\ufeff,\n"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		file, err := Read(text)
		if err != nil {
			if file != nil || err.Error() == "" {
				t.Fatalf("%+v, %v", file, err)
			}
			return
		}
		for _, c := range file.Cohorts {
			for _, o := range c.Lives {
				if err := o.Check(); err != nil {
					t.Fatalf("%+v: %v", o, err)
				}
			}
		}
	})
}
