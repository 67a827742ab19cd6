package intake_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"carryside/assets/intake"
)

// bring imports a CSV text and fails the test on an error of the file.
func bring(t *testing.T, reg intake.Registry, text string, opt intake.Options) *intake.Outcome {
	t.Helper()
	opt.Now = today
	if opt.Plant == "" {
		opt.Plant = "Marrow Quay"
	}
	out, err := importData(reg, "list.csv", []byte(text), intake.CSVOptions{}, opt, true)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// said writes an outcome down, a line for each record but plants and lines, each refused, held and skipped row:
//
//	2 belt created CV-1 width_m=0.6 fitted_on=2020-01-01 !approximate_date
//	refused 4 width out_of_range
func said(t *testing.T, o *intake.Outcome) string {
	t.Helper()
	var lines []string
	for _, r := range o.Records {
		if r.Kind == intake.KindPlant || r.Kind == intake.KindLine {
			continue
		}
		line := fmt.Sprintf("%d%s %s %s %s", r.Row, r.Column, r.Kind, r.Action, r.Conveyor)
		for _, f := range r.Fields {
			v, err := json.Marshal(f.Value)
			if err != nil {
				t.Fatal(err)
			}
			if w, ok := f.Value.(intake.WhenJSON); ok {
				v = []byte(dayOr(w) + "~")
			}
			line += " " + f.Name + "=" + strings.Trim(string(v), `"`)
		}
		for _, m := range r.Remarks {
			line += " !" + m.Class
		}
		lines = append(lines, line)
	}
	for _, r := range o.Refused {
		lines = append(lines, fmt.Sprintf("refused %d %s %s", r.Row, r.Field, r.Class))
	}
	for _, h := range o.Held {
		lines = append(lines, fmt.Sprintf("held %d %s", h.Row, h.Class))
	}
	for _, s := range o.Skipped {
		lines = append(lines, fmt.Sprintf("skipped %d %s", s.Row, s.Class))
	}
	return strings.Join(lines, "\n")
}

func dayOr(w intake.WhenJSON) string {
	a, b := "", ""
	if w.Earliest != nil {
		a = string(*w.Earliest)
	}
	if w.Latest != nil {
		b = string(*w.Latest)
	}
	return a + ".." + b
}

// want compares an outcome with the lines it should say.
func want(t *testing.T, o *intake.Outcome, lines ...string) {
	t.Helper()
	got := said(t, o)
	if w := strings.Join(lines, "\n"); got != w {
		t.Errorf("got\n%s\nwant\n%s", got, w)
	}
}

func TestGermanMonthColumns(t *testing.T) {
	reg := &memory{}
	bring(t, reg, "Conveyor,Belt width (mm)\nCV-1,600\nCV-2,600\n", intake.Options{})
	o := bring(t, reg, "Betriebsstunden 2024\nBand-Nr.;Bezeichnung;Januar;Februar;März;Mai\nCV 1;Auf;1.000;1.500;2.000,5;k. A.\ncv02;;12.450;kein Zugang;13.000;\nSumme;;1;2;3;4\n", intake.Options{})
	want(t, o,
		"3C reading created CV-1 taken_on=2024-01-31 meter_reading_h=1000 !approximate_date",
		"3D reading created CV-1 taken_on=2024-02-29 meter_reading_h=1500 !approximate_date",
		"3E reading created CV-1 taken_on=2024-03-31 meter_reading_h=2000.5 !approximate_date",
		"4C reading created CV-2 taken_on=2024-01-31 meter_reading_h=12450 !approximate_date",
		"4E reading created CV-2 taken_on=2024-03-31 meter_reading_h=13000 !approximate_date",
		"refused 4 meter_reading not_a_number", "skipped 5 subtotal")
}

func TestSpanishListInOneRow(t *testing.T) {
	o := bring(t, &memory{}, "Planta: Cantera Ficticia\nZona;N.º de cinta;Descripción;Tipo de banda;Ancho (mm);Longitud (m);Velocidad (m/s);Fecha de montaje;Tipo de empalme;Fecha de empalme;Estado\n"+
		"Trituración;C-1;Alimentador;EP 400/3;1.000;62,4;1,68;12 de marzo de 2021;vulcanizado en caliente;primavera 2022;en servicio\n"+
		";C-2;Salida;EP 400/3;800;1.040,5;1,2;03/04/2020;grapas;S07/2024;baja 2021\n;C-3;Acopio;EP 500/4;650;22,1;lenta;s/d;solape;desconocido;\nTotal;3;;;;1;;;;;\n", intake.Options{})
	want(t, o,
		"3 conveyor created C-1 line=Trituración conveyor_name=Alimentador speed_m_per_s=1.68 status=in_use",
		"3 belt created C-1 specification=EP 400/3 width_m=1 loop_length_m=62.4 fitted_on=2021-03-12",
		"3 splice created C-1 splice_kind=hot-vulcanised made_on=2022-03-01..2022-05-31~ !approximate_date",
		"4 conveyor created C-2 line=Trituración conveyor_name=Salida speed_m_per_s=1.2 status=retired retired_on=2021-01-01..2021-12-31~",
		"4 belt created C-2 specification=EP 400/3 width_m=0.8 loop_length_m=1040.5 fitted_on=2020-04-03 !date_order_guessed",
		"4 splice created C-2 splice_kind=mechanical made_on=2024-02-12..2024-02-18~ !approximate_date",
		"5 conveyor created C-3 line=Trituración conveyor_name=Acopio !not_read",
		"5 belt created C-3 specification=EP 500/4 width_m=0.65 loop_length_m=22.1",
		"5 splice created C-3 splice_kind=skived-overlap made_on=..~ !date_unknown",
		"skipped 6 subtotal")
	if p := o.Records[0].Plant; p != "Cantera Ficticia" {
		t.Errorf("the plant is %q, the title names another", p)
	}
}

func TestHeadingOverTwoRowsWithoutMergedCells(t *testing.T) {
	o := bring(t, &memory{}, "Belt;;;Splice;;\nTag;Width [mm];Length [m];No;Date;By\nCV-1;600;12,5;1;2024-03-01;Crew\nCV-1;600;12,5;2;2024-04-01;Crew\n", intake.Options{})
	want(t, o,
		"3 conveyor created CV-1",
		"3 belt created CV-1 width_m=0.6 loop_length_m=12.5",
		"3 splice created CV-1 splice_number=1 made_on=2024-03-01 made_by=Crew",
		"4 splice created CV-1 splice_number=2 made_on=2024-04-01 made_by=Crew")
}

func TestTablesOnOneSheet(t *testing.T) {
	o := bring(t, &memory{}, "Tag,Width (mm),Length (m),,Tag,Date,Hours,,Grade,Meaning\nCV-1,600,12,,CV-1,2024-01-01,10,,0,ok\nCV-2,600,12,,CV-2,2024-01-01,20,,1,worn\n\nSplices\nConveyor,Splice no,Joint type,Date made,By\nCV-1,1,finger,2024-01-01,A\nCV-9,1,finger,2024-01-01,A\n", intake.Options{})
	want(t, o,
		"2 conveyor created CV-1", "2 belt created CV-1 width_m=0.6 loop_length_m=12", "2 reading created CV-1 taken_on=2024-01-01 meter_reading_h=10",
		"3 conveyor created CV-2", "3 belt created CV-2 width_m=0.6 loop_length_m=12", "3 reading created CV-2 taken_on=2024-01-01 meter_reading_h=20",
		"7 splice created CV-1 splice_number=1 splice_kind=finger made_on=2024-01-01 made_by=A",
		"refused 8 conveyor unknown_conveyor", "skipped 1 no_record", "skipped 5 footnote")
}

func TestSectionHeadingsFootnotesAndLoneTags(t *testing.T) {
	o := bring(t, &memory{}, "Tag,Width (mm),Length (m)\nLINE 1,,\nCV-1,600,12\nDRY END,,\nCV-2,600,12\nCV-5,,\nCV-6,600,\nTotal,,24\nall scrapped stay here,,\n", intake.Options{})
	want(t, o,
		"3 conveyor created CV-1 line=LINE 1", "3 belt created CV-1 width_m=0.6 loop_length_m=12",
		"5 conveyor created CV-2 line=DRY END", "5 belt created CV-2 width_m=0.6 loop_length_m=12",
		"6 conveyor created CV-5 line=DRY END", "7 conveyor created CV-6 line=DRY END", "7 belt created CV-6 width_m=0.6",
		"skipped 2 section_heading", "skipped 4 section_heading", "skipped 8 subtotal", "skipped 9 footnote")
}

func TestUnitsInNotesAndMissing(t *testing.T) {
	want(t, bring(t, &memory{}, "Belt list\n\"all lengths in mm, speeds in m/min\"\nTag,Width,Length,Speed,Take-up\nCV-1,600,12500,24,300\n", intake.Options{}),
		"4 conveyor created CV-1 speed_m_per_s=0.4 take_up_travel_m=0.3", "4 belt created CV-1 width_m=0.6 loop_length_m=12.5")
	want(t, bring(t, &memory{}, "Tag,Width,Length (m),Speed (m/s)\nCV-1,600,12,1\nCV-2,600 mm,0,1\nCV-3,6000 mm,5,1\nCV-4,600 mm,5,-1\nCV-5,600mm / 800mm,5,1\nCV-6,600 mm,5,slow\n,600 mm,5,1\n", intake.Options{}),
		"7 conveyor created CV-6 !not_read", "7 belt created CV-6 width_m=0.6 loop_length_m=5",
		"refused 2 width missing_unit", "refused 3 loop_length out_of_range", "refused 4 width out_of_range", "refused 5 speed out_of_range", "refused 6 width several_values", "refused 8 conveyor missing_key")
}

func TestOrdersOfDates(t *testing.T) {
	list := "Conveyor,Width (mm),Fitted\nB1,600,03/04/2020\n"
	want(t, bring(t, &memory{}, list, intake.Options{}), "refused 2 fitted_on ambiguous_date")
	want(t, bring(t, &memory{}, list, intake.Options{DateOrder: "mdy"}), "2 conveyor created B1", "2 belt created B1 width_m=0.6 fitted_on=2020-03-04")
	want(t, bring(t, &memory{}, list+"B2,600,13/04/2020\nB3,600,31/02/2020\n", intake.Options{}),
		"2 conveyor created B1", "2 belt created B1 width_m=0.6 fitted_on=2020-04-03", "3 conveyor created B2", "3 belt created B2 width_m=0.6 fitted_on=2020-04-13", "refused 4 fitted_on not_a_date")
	want(t, bring(t, &memory{}, list+"B2,600,13/04/2020\nB3,600,04/13/2020\n", intake.Options{}),
		"3 conveyor created B2", "3 belt created B2 width_m=0.6 fitted_on=2020-04-13", "4 conveyor created B3", "4 belt created B3 width_m=0.6 fitted_on=2020-04-13", "refused 2 fitted_on ambiguous_date")
	want(t, bring(t, &memory{}, "Conveyor,Width (mm),Fitted (mm/dd/yyyy)\nB1,600,03/04/2020\n", intake.Options{}), "2 conveyor created B1", "2 belt created B1 width_m=0.6 fitted_on=2020-03-04")
}

func TestSameWordsAgainAndContradictions(t *testing.T) {
	o := bring(t, &memory{}, "Tag,Width (mm),Length (m),Description,Fitted\nCV-8,600,5,Infeed,2020\ncv 8,600,5,infeed,2020\nCV08,603,5,,2020\nCV-8,650,5,,2020\nCV-8,600,5,Outfeed,2020\nCV-8,600,5,,2024\n", intake.Options{})
	want(t, o,
		"2 conveyor created CV-8 conveyor_name=Infeed",
		"2 belt created CV-8 width_m=0.6 loop_length_m=5 fitted_on=2020-01-01..2020-12-31~ removed_on=2024-01-01..2024-12-31~ removed_why=unknown !approximate_date",
		"7 belt created CV-8 width_m=0.6 loop_length_m=5 fitted_on=2024-01-01..2024-12-31~ !approximate_date !takes_the_place_of",
		"refused 3 conveyor duplicate", "refused 4 conveyor duplicate", "refused 5 width contradiction", "refused 6 conveyor_name contradiction")
}

const spliceHead = "Conveyor,Splice no,Splice type,Splice date,Spliced by,Removed,Reason\n"

// known is a register with three conveyors: a splice of spring 2022, one of 10 May 2022, one of which no date is known.
func known(t *testing.T) *memory {
	reg := &memory{}
	bring(t, reg, "Conveyor,Belt width (mm),Belt length (m),Fitted,Splice no,Splice type,Splice date\nCV-1,600,12.5,2020-01-01,1,finger,spring 2022\nCV-2,600,12.5,2020-01-01,1,finger,2022-05-10\nCV-3,600,12.5,,,mechanical,\n", intake.Options{})
	return reg
}

func TestDateMadeExact(t *testing.T) {
	want(t, bring(t, known(t), spliceHead+"CV-1,1,finger,2022-04-03,Crew,,\nCV-3,,mechanical,2021-01-01,,,\n", intake.Options{}),
		"2 splice changed CV-1 splice_number=1 splice_kind=finger made_on=2022-04-03 made_by=Crew",
		"3 splice changed CV-3 splice_kind=mechanical made_on=2021-01-01")
}

func TestCorrectedOrNew(t *testing.T) {
	ten := spliceHead + "CV-2,1,,2022-05-20,,,\n"
	want(t, bring(t, known(t), ten, intake.Options{}), "refused 2 made_on same_or_new")
	want(t, bring(t, known(t), ten, intake.Options{SameRecord: "correct"}), "2 splice changed CV-2 splice_number=1 splice_kind=finger made_on=2022-05-20")
	want(t, bring(t, known(t), ten, intake.Options{SameRecord: "new"}),
		"2 splice changed CV-2 retired_on=2022-05-20 splice_number=1 splice_kind=finger made_on=2022-05-10 retired_why=unknown",
		"2 splice created CV-2 splice_number=1 made_on=2022-05-20 !takes_the_place_of")
	want(t, bring(t, known(t), spliceHead+"CV-2,1,,2022-06-11,,,\n", intake.Options{}),
		"2 splice changed CV-2 retired_on=2022-06-11 splice_number=1 splice_kind=finger made_on=2022-05-10 retired_why=unknown",
		"2 splice created CV-2 splice_number=1 made_on=2022-06-11 !takes_the_place_of")
	want(t, bring(t, known(t), spliceHead+"CV-2,1,,2022-06-10,,,\n", intake.Options{}), "refused 2 made_on same_or_new")
	want(t, bring(t, known(t), spliceHead+"CV-2,1,,2021-05-20,,2022-05-10,failed\n", intake.Options{}),
		"2 splice created CV-2 retired_on=2022-05-10 splice_number=1 made_on=2021-05-20 retired_why=failed failure_mode=failed")
}

func TestAnsweredQuestionsStayAnswered(t *testing.T) {
	for _, answer := range []string{"correct", "new"} {
		reg := known(t)
		text := spliceHead + "CV-2,1,finger,2022-05-20,,,\n"
		bring(t, reg, text, intake.Options{SameRecord: answer})
		want(t, bring(t, reg, text, intake.Options{}), "2 splice unchanged CV-2 splice_number=1 splice_kind=finger made_on=2022-05-20")
	}
}

func TestNewBeltEndsTheOldOneAndItsSplice(t *testing.T) {
	reg := known(t)
	text := "Conveyor,Belt width (mm),Belt length (m),Fitted\nCV-1,600,12.6,2024-01-01\nCV-2,24 in,12.48,2020-01-01\n"
	want(t, bring(t, reg, text, intake.Options{}),
		"2 conveyor unchanged CV-1 status=in_use",
		"2 belt changed CV-1 width_m=0.6 loop_length_m=12.5 fitted_on=2020-01-01 removed_on=2024-01-01 removed_why=unknown",
		"2 belt created CV-1 width_m=0.6 loop_length_m=12.6 fitted_on=2024-01-01 !takes_the_place_of",
		"2 splice changed CV-1 retired_on=2024-01-01 splice_number=1 splice_kind=finger made_on=2022-03-01..2022-05-31~ retired_why=belt-removed",
		"3 conveyor unchanged CV-2 status=in_use",
		"3 belt changed CV-2 width_m=0.6 loop_length_m=12.48 fitted_on=2020-01-01")
	for k, c := range bring(t, reg, text, intake.Options{}).Counts {
		if c.Created+c.Changed > 0 {
			t.Errorf("the same file again creates %d and changes %d of %s", c.Created, c.Changed, k)
		}
	}
}

func TestSplicesOfOneFileInOrderOfDate(t *testing.T) {
	reg := known(t)
	text := spliceHead + "CV-1,2,finger,2024-05-01,,,\nCV-1,2,finger,2023-01-01,,,\nCV-1,2,finger,2024-05-20,,,\nCV-1,2,finger,2021-01-01,,2022-12-31,tore\nCV-1,2,,,,,\n"
	want(t, bring(t, reg, text, intake.Options{}),
		"2 splice created CV-1 splice_number=2 splice_kind=finger made_on=2024-05-01 !takes_the_place_of",
		"3 splice created CV-1 retired_on=2024-05-01 splice_number=2 splice_kind=finger made_on=2023-01-01 retired_why=unknown",
		"5 splice created CV-1 retired_on=2022-12-31 splice_number=2 splice_kind=finger made_on=2021-01-01 retired_why=failed failure_mode=tore",
		"refused 4 made_on same_or_new", "refused 6 conveyor duplicate")
}

func TestHalvesOfASpliceKindFromTwoRows(t *testing.T) {
	reg := &memory{}
	text := "Tag,Width (mm),Length (m),Splice no,Joint,Made on\nA1,600,1,1,stepped,2020-01-01\nA1,600,1,1,hot vulc,2020-01-01\nA1,600,1,1,finger,2020-01-01\n"
	want(t, bring(t, reg, text, intake.Options{}),
		"2 conveyor created A1", "2 belt created A1 width_m=0.6 loop_length_m=1", "2 splice created A1 splice_number=1 splice_kind=stepped made_on=2020-01-01", "refused 4 splice_kind contradiction")
	want(t, bring(t, reg, text, intake.Options{}),
		"2 conveyor unchanged A1 status=in_use", "2 belt unchanged A1 width_m=0.6 loop_length_m=1", "2 splice unchanged A1 splice_number=1 splice_kind=stepped made_on=2020-01-01", "refused 4 splice_kind contradiction")
	if s := reg.plants[0].snap.Conveyors[0].Splices[0]; s.Form != "stepped" || s.Bond != "hot-vulcanised" {
		t.Errorf("kept as %s, %s", s.Form, s.Bond)
	}
}

func TestBlankInOneRowIsFilledByAnother(t *testing.T) {
	reg := &memory{}
	text := "Tag,Width (mm),Speed (m/s),Fitted\nA1,600,,2020-01-01\nA1,,2.5,\nA1,600,2.5,2020-01-01\n"
	for _, action := range []string{"created", "unchanged"} {
		o := bring(t, reg, text, intake.Options{})
		if o.Records[1].Action != action || len(o.Refused) != 1 || o.Refused[0].Row != 4 || o.Refused[0].Class != "duplicate" {
			t.Errorf("%s: %s", action, said(t, o))
		}
	}
	want(t, bring(t, reg, "Tag,Width (mm),Speed (m/s),Fitted\nA1,600,,2020-01-01\nA1,,3.2,\n", intake.Options{}),
		"2 conveyor changed A1 speed_m_per_s=3.2 status=in_use", "2 belt unchanged A1 width_m=0.6 fitted_on=2020-01-01")
}

func TestReadingsBesideTheRegister(t *testing.T) {
	reg := known(t)
	bring(t, reg, "Conveyor,Date,Hours,Remark\nCV-1,2024-01-01,100,\nCV-1,2024-01-02,124.1,\nCV-2,2024-01-01,990,\nCV-2,2024-02-01,10,rolled over\nCV-2,2024-03-01,20,\nCV-3,2024-01-01,5000,\nCV-3,2024-02-01,7000,new meter\nCV-3,2024-03-01,7100,\n", intake.Options{})
	text := "Conveyor,Date,Hours\nCV-1,2024-01-01,101\nCV-1,2023-12-31,99\nCV-1,2023-12-01,120\nCV-1,2024-01-03,149\nCV-2,2024-02-15,15\nCV-2,2024-02-20,25\nCV-2,2024-01-15,999\nCV-3,2024-02-10,7010\nCV-3,2024-01-20,7010\n"
	lines := []string{
		"3 reading created CV-1 taken_on=2023-12-31 meter_reading_h=99",
		"6 reading created CV-2 taken_on=2024-02-15 meter_reading_h=15",
		"8 reading created CV-2 taken_on=2024-01-15 meter_reading_h=999",
		"9 reading created CV-3 taken_on=2024-02-10 meter_reading_h=7010",
		"held 2 same_instant", "held 4 backwards", "held 5 more_than_24_h_a_day", "held 7 backwards", "held 10 more_than_24_h_a_day"}
	want(t, bring(t, reg, text, intake.Options{}), lines...)
	for i := range lines[:4] {
		lines[i] = strings.Replace(lines[i], "created", "unchanged", 1)
	}
	want(t, bring(t, reg, text, intake.Options{}), lines...)
	held := 0
	for _, c := range reg.plants[0].snap.Conveyors {
		held += len(c.Held)
	}
	if held != 5 {
		t.Errorf("%d readings are kept as held after two imports, want 5", held)
	}
}

func TestFindings(t *testing.T) {
	reg := known(t)
	text := "Band;geprüft am;Befund;Stufe;Messwert;in Betrieb;Prüfer;Bemerkung\nCV-1;03.02.2025;Riss;2;1,5 mm;ja;A;x\nCV-2;04.02.2025;Kante;5;;nein;A;\nCV-2;04.02.2025;Kante;hoch;12 %;nein;A;\nCV-3;;Kante;1;;;;\nCV-3;13.02.2025;Kante;1;20;;;\nCV-3;13.02.2025;Zug;2-3;;;;\nCV-1;03.02.2025;riss;;;;;\n"
	want(t, bring(t, reg, text, intake.Options{}),
		"2 finding created CV-1 found_on=2025-02-03 category=Riss grade=2 found_by=A measurement_m=0.0015 running=true remark=x",
		"4 finding created CV-2 found_on=2025-02-04 category=Kante found_by=A measurement=12 measurement_unit=% running=false !not_read",
		"refused 3 grade out_of_range", "refused 5 found_on missing_key", "refused 6 measurement missing_unit", "refused 7 grade several_values", "refused 8 category duplicate")
}

func TestTagsThatLookAlike(t *testing.T) {
	o := bring(t, &memory{}, "Tag,Width (mm)\nCV-1-1,600\nCV-11,600\nCV-10,600\n", intake.Options{})
	if n := o.Counts[intake.KindConveyor].Created; n != 3 {
		t.Errorf("%d conveyors, want three: CV-1-1 is not CV-11", n)
	}
	o = bring(t, known(t), "Conveyor,Date,Hours\nCV-l,2024-01-01,5\n", intake.Options{})
	if len(o.Refused) != 1 || !strings.Contains(o.Refused[0].Text, "did you mean 'CV-1'") {
		t.Errorf("refused %+v, want a hint at CV-1", o.Refused)
	}
}

func TestEncodingsAndSeparators(t *testing.T) {
	text := "Förderer\tGurtbreite (mm)\tBezeichnung\r\nB 1\t650\t\"Über\r\nlauf\"\r\n\r\nB 2\t800\t24\" \r\n"
	wide := utf16.Encode([]rune("\ufeff" + text))
	var le, be []byte
	for _, u := range wide {
		le = append(le, byte(u), byte(u>>8))
		be = append(be, byte(u>>8), byte(u))
	}
	var latin []byte
	for _, r := range text {
		latin = append(latin, byte(r))
	}
	for name, data := range map[string][]byte{"UTF-8": []byte(text), "UTF-8 with mark": []byte("\ufeff" + text), "UTF-16 little": le, "UTF-16 big": be, "Windows-1252": latin} {
		o, err := importData(&memory{}, "a.csv", data, intake.CSVOptions{}, intake.Options{Now: today, Plant: "P"}, true)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got := said(t, o); got != "2 conveyor created B 1 conveyor_name=Über\\r\\nlauf\n2 belt created B 1 width_m=0.65\n5 conveyor created B 2 conveyor_name=24\\\n5 belt created B 2 width_m=0.8" {
			t.Errorf("%s: %s", name, got)
		}
	}
}

func TestCSVThatIsTurnedAway(t *testing.T) {
	for name, c := range map[string]struct{ text, says string }{
		"NUL bytes":        {"Conveyor,Width (mm)\nCV-1,\x00600\n", "NUL"},
		"blank":            {" \n\t\n", "empty"},
		"quote left open":  {"Conveyor,Width (mm)\n\"CV-1,600\nCV-2,700\n", "quote"},
		"long line":        {"Conveyor,Width (mm)\nCV-1," + strings.Repeat("6", 1<<20) + "\n", "1 MB"},
		"long cell":        {"Conveyor,Width (mm)\nCV-1," + strings.Repeat("6", 40_000) + "\n", "characters"},
		"too many columns": {"Conveyor,Width (mm)\nCV-1" + strings.Repeat(",1", 1100) + "\n", "columns"},
		"too many rows":    {"Conveyor,Width (mm)\n" + strings.Repeat("C,1\n", 250_001), "rows"},
	} {
		_, err := intake.ReadCSV("list.csv", []byte(c.text), intake.CSVOptions{})
		if err == nil || !strings.HasPrefix(err.Error(), "list.csv ") || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want a line that says %q", name, err, c.says)
		}
	}
}

func TestTextThatWouldRunStaysAsWritten(t *testing.T) {
	o := bring(t, &memory{}, "Conveyor,Description,Width (mm)\nCV-1,'=1+1,600\nCV-2,+49 30,600\nCV-3,\tTAB,600\nCV-4,'s end,600\n", intake.Options{})
	want(t, o,
		"2 conveyor created CV-1 conveyor_name==1+1", "2 belt created CV-1 width_m=0.6", "3 conveyor created CV-2 conveyor_name=+49 30", "3 belt created CV-2 width_m=0.6",
		`4 conveyor created CV-3 conveyor_name=\tTAB`, "4 belt created CV-3 width_m=0.6", "5 conveyor created CV-4 conveyor_name='s end", "5 belt created CV-4 width_m=0.6")
}

func TestMappingsThatCannotBe(t *testing.T) {
	for text, says := range map[string]string{
		`{"format": 1, "tabels": []}`: "tabels",
		`{"format": 1, "tables": [`:   "JSON",
		`{"format": 2}`:               "format",
		`{"format": 1, "tables": [{"sheet": "", "columns": {"A": {"field": "x"}}}]}`:                        `"x"`,
		`{"format": 1, "tables": [{"sheet": "", "columns": {"A1": {"ignore": true}}}]}`:                     "A1",
		`{"format": 1, "tables": [{"sheet": "", "columns": {"A": {"field": "width", "unit": "furlong"}}}]}`: "furlong",
		`{"format": 1, "tables": [{"sheet": "", "columns": {"A": {"field": "width", "unit": "m/s"}}}]}`:     "m/s",
		`{"format": 1, "tables": [{"sheet": "", "columns": {"A": {"field": "width", "colour": "x"}}}]}`:     "colour",
		`{"format": 1, "tables": [{"sheet": "", "records": ["belts"], "columns": {}}]}`:                     "belts",
		`{"format": 1, "date_order": "dym", "tables": []}`:                                                  "dym",
		`{"format": 1, "plant": {"value": "a", "cell": "B2"}, "tables": []}`:                                "exactly one",
		`{"format": 1, "separator": ";;", "tables": []}`:                                                    ";;",
		`{"format": 1, "encoding": "ebcdic", "tables": []}`:                                                 "ebcdic",
		`{"format": 1, "tables": "x"}`:                                                                      "tables",
	} {
		_, err := intake.ParseMapping("m.json", []byte(text))
		if err == nil || !strings.Contains(err.Error(), "m.json") || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want a line that says %q", text, err, says)
		}
	}
	m, err := intake.ParseMapping("m.json", []byte(`{"format": 1, "tables": [{"sheet": "", "header_rows": [1], "columns": {"Q": {"field": "conveyor"}}}]}`))
	if err != nil {
		t.Fatal(err)
	}
	_, err = importData(&memory{}, "a.csv", []byte("Tag,Width (mm)\nCV-1,600\n"), intake.CSVOptions{}, intake.Options{Now: today, Plant: "P", Mapping: m}, true)
	if err == nil || !strings.Contains(err.Error(), `"Q"`) {
		t.Errorf("a column beyond the sheet: %v", err)
	}
}

func TestRowsAddUp(t *testing.T) {
	o := bring(t, known(t), "Conveyor,Date,Hours\nCV-1,2024-01-01,100\nCV-1,2024-01-01,100\nTotal,,200\nCV-1,2024-02-01,50\nCV-9,2024-01-01,1\nConveyor,Date,Hours\nCV-2,2024-01-01,7\n,,\nread by A,,\n", intake.Options{})
	if r := o.Rows; r.Accepted != 2 || r.Refused != 2 || r.Held != 1 || r.Skipped != 3 {
		t.Errorf("rows %+v of 8 below the heading", r)
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add([]byte("Conveyor,Width (mm)\nCV-1,\"6\"\"00\"\n"))
	f.Add([]byte("sep=;\nTag;Jan 2024\nA;1\n"))
	f.Add([]byte("\xff\xfeT\x00a\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		out, err := importData(&memory{}, "f.csv", data, intake.CSVOptions{}, intake.Options{Now: today, Plant: "P"}, true)
		if err != nil {
			return
		}
		for _, r := range out.Refused {
			if n := len([]rune(r.Text)); n < 8 || n > 400 || strings.ContainsAny(r.Text, "\n\r") {
				t.Errorf("a text of %d letters: %q", n, r.Text)
			}
		}
	})
}

func TestColumnsAsAScreenShowsThem(t *testing.T) {
	o := bring(t, &memory{}, "Belt list\nTag,Breadth,Width (mm),Speed (m/s)\nCV-1,x,600,slow\nCV-2,,-5,1.2\n", intake.Options{})
	var lines []string
	for _, h := range o.Headings() {
		lines = append(lines, fmt.Sprintf("%s %s=%s in %s first %s filled %d blank %d out %d refused %d", h.Column, h.Heading, h.Field, h.Unit, h.First, h.Filled, h.Blank, h.LeftOut, h.Refused))
	}
	got := strings.Join(lines, "\n")
	if w := "A Tag=conveyor in  first CV-1 filled 2 blank 0 out 0 refused 0\nB Breadth= in  first x filled 1 blank 1 out 0 refused 0\n" +
		"C Width (mm)=width in mm first 600 filled 2 blank 0 out 0 refused 1\nD Speed (m/s)=speed in m/s first slow filled 2 blank 0 out 1 refused 0"; got != w {
		t.Errorf("got\n%s\nwant\n%s", got, w)
	}
	if u := intake.UnitNames("speed"); strings.Join(u, " ") != "ft/min m/min m/s" {
		t.Errorf("units of a speed: %v", u)
	}
}

func TestPlantsOfTwoCustomers(t *testing.T) {
	reg := &memory{}
	list := "Conveyor,Belt width (mm)\nCV-1,600\n"
	bring(t, reg, list, intake.Options{Customer: "North"})
	if o := bring(t, reg, list, intake.Options{Customer: "South"}); o.Counts[intake.KindPlant].Created != 1 {
		t.Errorf("the same name at another customer is another plant; counts %+v", *o.Counts[intake.KindPlant])
	}
	want(t, bring(t, reg, list, intake.Options{}), "refused 2  ambiguous_plant")
	want(t, bring(t, reg, list, intake.Options{Customer: "south"}), "2 conveyor unchanged CV-1 status=in_use", "2 belt unchanged CV-1 width_m=0.6")
}

// findingOf returns the one finding of an outcome.
func findingOf(t *testing.T, o *intake.Outcome) *intake.Record {
	t.Helper()
	for _, r := range o.Records {
		if r.Kind == intake.KindFinding {
			return r
		}
	}
	t.Fatal("no finding in the outcome")
	return nil
}

func TestFindingWithAnotherGrade(t *testing.T) {
	reg := known(t)
	bring(t, reg, "Conveyor,Inspected,Finding,Grade\nCV-1,2024-01-01,crack,2\n", intake.Options{})
	graded := "Conveyor,Inspected,Finding,Grade\nCV-1,2024-01-01,crack,3\n"
	o := bring(t, reg, graded, intake.Options{})
	want(t, o, "2 finding changed CV-1 found_on=2024-01-01 category=crack grade=3")
	if c := findingOf(t, o).Changes; len(c) != 1 || c[0].Field != "grade" || c[0].Before != 2 || c[0].After != 3 || c[0].FromNow {
		t.Errorf("the grade changes as %+v, want a correction from 2 to 3", c)
	}
	want(t, bring(t, reg, graded, intake.Options{}), "2 finding unchanged CV-1 found_on=2024-01-01 category=crack grade=3")
	want(t, bring(t, reg, "Conveyor,Inspected,Finding,Grade\nCV-1,2024-01-01,Crack,\n", intake.Options{}), "2 finding unchanged CV-1 found_on=2024-01-01 category=Crack")
}

// Two inspectors' rows in one list, graded 2 and 4: which of them is right is for a person, so the register keeps what
// it has.
func TestFindingThatTheListItselfGradesTwice(t *testing.T) {
	reg := known(t)
	bring(t, reg, "Conveyor,Inspected,Finding,Grade\nCV-1,2024-01-01,crack,3\n", intake.Options{})
	want(t, bring(t, reg, "Conveyor,Inspected,Finding,Grade\nCV-1,2024-01-01,crack,2\nCV-1,2024-01-01,crack,4\n", intake.Options{}), "refused 2 grade contradiction", "refused 3 category duplicate")
	want(t, bring(t, reg, "Conveyor,Inspected,Finding,Grade\nCV-1,2024-01-01,crack,3\n", intake.Options{}), "2 finding unchanged CV-1 found_on=2024-01-01 category=crack grade=3")
}

// The gap was measured again from the photograph, in millimetres, and the belt stood still: both correct the finding.
func TestFindingWithAnotherMeasurement(t *testing.T) {
	reg := known(t)
	list := "Conveyor,Inspected,Finding,Grade,Measured (mm),Running\nCV-1,2024-01-01,gap,2,"
	bring(t, reg, list+"1.5,\n", intake.Options{})
	o := bring(t, reg, list+"2.5,no\n", intake.Options{})
	want(t, o, "2 finding changed CV-1 found_on=2024-01-01 category=gap grade=2 measurement_m=0.0025 running=false")
	if c := findingOf(t, o).Changes; len(c) != 2 || c[0].Field != "measurement_m" || c[0].Before != 0.0015 || c[1].Before != nil || c[1].After != false {
		t.Errorf("changes %+v", c)
	}
	want(t, bring(t, reg, list+"2.5,no\n", intake.Options{}), "2 finding unchanged CV-1 found_on=2024-01-01 category=gap grade=2 measurement_m=0.0025 running=false")
}

func TestOneTagOnEveryRowIsSoonDone(t *testing.T) {
	var b strings.Builder
	b.WriteString("Conveyor,Belt width (mm),Belt length (m),Fitted,Splice no,Splice date\n")
	day := time.Date(1950, 1, 2, 0, 0, 0, 0, time.UTC)
	for i := range 20_000 {
		fmt.Fprintf(&b, "CV-1,600,10,%s,1,%s\n", day.AddDate(0, 0, i).Format(time.DateOnly), day.AddDate(0, 0, i).Format(time.DateOnly))
	}
	start := time.Now()
	o := bring(t, &memory{}, b.String(), intake.Options{})
	if d := time.Since(start); d > 3*time.Minute { // a hang, not a claim of speed
		t.Errorf("took %s", d)
	}
	if len(o.Refused) < 17_000 {
		t.Errorf("%d rows refused, no conveyor has 20,000 belts", len(o.Refused))
	}
}

func TestTextThatASpreadsheetWouldRunIsDataAlsoWhenItNamesASum(t *testing.T) {
	o := bring(t, &memory{}, "Conveyor,Description,Width (mm)\n=SUM(B2:B3),first,600\nCV-2,second,650\n", intake.Options{})
	if len(o.Skipped) != 0 || len(o.Records) == 0 || !strings.Contains(said(t, o), "2 conveyor created =SUM(B2:B3)") {
		t.Errorf("a tag that begins with an equals sign:\n%s", said(t, o))
	}
}
