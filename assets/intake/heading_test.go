package intake

import (
	"strings"
	"testing"
)

// leastSynonyms is the contract's table of headings (section 4). Words that mean different things in different tables
// stand with the meanings they can have.
const leastSynonyms = `line | line, area, section | Linie, Bereich, Anlage | línea, área, zona
conveyor | conveyor, conv no, tag, conveyor id, equipment | Förderer, Förderband, Band, Band-Nr. | transportador, cinta, n.º de cinta, equipo
conveyor_name | description, name, service | Bezeichnung, Beschreibung | descripción, nombre
speed | speed, belt speed | Geschwindigkeit, Geschw. | velocidad
centre_distance | centres, center distance, c-c | Achsabstand | distancia entre centros
take_up_travel | take-up, take-up travel | Spannweg | carrera de tensado
status | status, in use | Status, Zustand | estado
specification | belt, belt type, spec | Gurt, Gurttyp, Gurtqualität | banda, tipo de banda
width | width, belt width | Breite, Gurtbreite | ancho
loop_length | length, belt length, loop length | Länge, Gurtlänge | longitud, desarrollo
thickness | thickness, thk | Dicke | espesor
working_tension | working tension, PIW, rating | zul. Zugkraft | tensión de trabajo
roll_number | roll, batch, lot | Rolle, Charge | rollo, lote
fitted_on | fitted, installed, belt date, belt changed | aufgelegt am, Einbau | montaje, fecha de montaje
splice_number | splice no, joint no | Verbindung Nr. | n.º de empalme
splice_kind | splice type, joint, joint type | Verbindung, Verbindungsart | tipo de empalme
made_on | made, made on, spliced, splice date, date made | hergestellt, Verbindung vom | fecha de empalme, empalmado
made_by | by, spliced by, crew | durch, Ausführung | realizado por, cuadrilla
retired_on | removed, out, cut out | entfernt, ausgebaut | retirado
retired_why | reason, why removed | Grund | motivo
taken_on | date, read on | Datum, abgelesen am | fecha, fecha de lectura
meter_reading | hours, meter, hour meter, run hrs | Betriebsstunden, Zählerstand, Bh | horas, horómetro, lectura
found_on | date, inspected | geprüft am | inspeccionado
category | finding, defect | Befund | hallazgo
grade | grade, severity | Stufe, Note | grado
measurement | measured, measurement | Messwert | medida
running | running | in Betrieb | en marcha
found_by | by, inspector | Prüfer | inspector
removed_on | belt removed on | Gurt entfernt | banda retirada
step_length | step length | Stufenlänge | longitud de escalón
bias_angle | bias, bias angle | Schrägwinkel | ángulo
finger_pitch | finger pitch | Fingerteilung | paso de dedos
finger_length | finger length | Fingerlänge | longitud de dedos
meter_event | event, meter event | Zählerwechsel, Ereignis | cambio de horómetro, evento
remark | remark, remarks, note, comment | Bemerkung | observaciones`

// company gives each field a table in which it has a meaning, by other headings beside it.
var company = map[string][]string{
	"made_by": {"Conveyor", "Splice type"}, "retired_on": {"Conveyor", "Splice type"}, "retired_why": {"Conveyor", "Splice type", "Removed"}, "taken_on": {"Conveyor", "Hours"}, "found_on": {"Conveyor", "Grade"}, "found_by": {"Conveyor", "Severity"},
	"grade": {"Förderer", "Befund", "geprüft am"}, "specification": {"Conveyor", "Width"}, "conveyor": {"Width", "Length"}, "meter_event": {"Conveyor", "Hours"}, "remark": {"Conveyor", "Width"},
}

// settled reads headings as a table of one row would have them.
func settled(heads ...string) *table {
	row, body := Row{Number: 1}, Row{Number: 2}
	for i, h := range heads {
		row.Cells = append(row.Cells, Cell{Col: int32(i + 1), Kind: Text, Text: h})
		body.Cells = append(body.Cells, Cell{Col: int32(i + 1), Kind: Text, Text: "1"})
	}
	s := &Sheet{Rows: []Row{row, body}}
	g := &guesser{book: &Book{Sheets: []*Sheet{s}, Styles: make([]Style, 1)}, known: map[string]heading{}}
	t := &table{sheet: s, first: 1, last: len(heads), headerIdx: []int{0}, unitIdx: -1, bodyFrom: 1, bodyTo: 2}
	g.settle(t)
	return t
}

func TestLeastSetOfSynonyms(t *testing.T) {
	for _, line := range strings.Split(leastSynonyms, "\n") {
		parts := strings.Split(line, " | ")
		field := parts[0]
		for _, text := range strings.Split(strings.Join(parts[1:], ", "), ", ") {
			beside := company[field]
			if beside == nil {
				beside = []string{"Conveyor"}
			}
			for _, written := range []string{text, strings.ToUpper(text), " " + strings.ReplaceAll(text, " ", "\n") + ":"} {
				if tb := settled(append(append([]string{}, beside...), written)...); tb.byField[field] == nil || tb.byField[field].col != len(beside)+1 {
					got := "nothing"
					if f := tb.columns[len(beside)].f; f != nil {
						got = f.name
					}
					t.Errorf("%q beside %v is read as %s, want %s", written, beside, got, field)
				}
			}
		}
	}
}

func TestUnitsOfHeadings(t *testing.T) {
	for text, want := range map[string]string{
		"Width [mm]": "width mm", "Belt width mm": "width mm", "Belt Length, ft": "loop_length ft", "Width/mm": "width mm", "Speed (fpm)": "speed ft/min", "Speed m/s": "speed m/s", "PIW": "working_tension PIW", "Width (in)": "width in",
		"Länge in m": "loop_length m", "Longitud en m": "loop_length m", "Hour meter (h)": "meter_reading h", "Bias (deg)": "bias_angle deg", "Bias °": "bias_angle deg", `Width (")`: "width in", "Width (inches)": "width in", "Gurtbreite, mm": "width mm",
		"Belt\nwidth\n(mm)": "width mm", "Belt (spec)": "specification", "Rating (PIW)": "working_tension PIW", "Belt speed [m/min.]": "speed m/min", "Length (m)*": "loop_length m", "Thk. (mm)": "thickness mm", "Fitted (m)": "fitted_on", "PIW rating": "working_tension PIW",
		"Length (belt)": "loop_length", "Date (splice)": "made_on",
	} {
		tb := settled("Conveyor", "Area", text)
		got := ""
		if c := tb.columns[2]; c.f != nil {
			got = c.f.name
			if c.unit != nil {
				got += " " + c.unit.name
			}
		}
		if got != want {
			t.Errorf("%q is read as %q, want %q", text, got, want)
		}
	}
}

func TestRunningNumbersAreNoFields(t *testing.T) {
	for _, heads := range [][]string{{"No", "Conveyor", "Width", "Splice type"}, {"Pos.", "Förderer", "Breite"}, {"ID", "Tag", "Width"}, {"#", "Tag", "Width"}} {
		if c := settled(heads...).columns[0]; c.f != nil {
			t.Errorf("the first of %v is read as %s", heads, c.f.name)
		}
	}
}

func TestWhatATableGives(t *testing.T) {
	for heads, want := range map[string]string{
		"Tag,Width":                              "creates conveyor belt",
		"Tag,Line":                               "creates conveyor",
		"Tag,Description":                        "creates conveyor",
		"Tag,Width,Splice type,Date made":        "splice",
		"Tag,Width,Length,Splice type,Date made": "creates conveyor belt splice",
		"Conveyor,Name,Date,Hours":               "reading",
		"Conveyor,Jan 2024,Feb 2024":             "reading",
		"Tag,Inspected,Finding,Grade":            "finding",
		"Tag,Width,Length,Inspected,Finding":     "creates conveyor belt finding",
		"Tag":                                    "",
		"Width,Length":                           "",
		"Conveyor,Hours":                         "",
		"Tag,Spec,Fitted,Removed,Reason":         "creates conveyor belt",
		"Splice type,Date made":                  "",
		"Conveyor,Splice no,Cut out,Reason,Line,Bias (deg)": "splice",
	} {
		tb := settled(strings.Split(heads, ",")...)
		got := ""
		if tb.creates {
			got = "creates "
		}
		for _, k := range Kinds {
			if tb.records[k] {
				got += string(k) + " "
			}
		}
		if strings.TrimSpace(got) != want {
			t.Errorf("%s gives %q, want %q", heads, got, want)
		}
	}
}
