package press

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// Traces as loggers of several makes write them (common practice): the same two rows, ten seconds apart, 145.2 and 144.8 °C at 10 bar. 145.2 °C are 293.36 °F, 144.8 °C
// 292.64 °F; 10 bar are 145.038 psi (1 psi = 6 894.757 Pa) and 10.19716 kgf/cm² (98 066.5 Pa, exact) and 9.86923 atm (101 325 Pa, exact): NIST SP 811, appendix B.
func TestATraceIsReadAsItsHeadingsSay(t *testing.T) {
	for name, file := range map[string]string{
		"German logger, decimal comma":              "Zeit [s];Temperatur oben [°C];Temperatur unten [°C];Druck [bar]\n0;145,2;144,8;10,0\n10;145,2;144,8;10,0\n",
		"French logger":                             "Temps (s);Plateau supérieur (°C);Plateau inférieur (°C);Pression (bar)\n0;145,2;144,8;10\n10;145,2;144,8;10\n",
		"Spanish logger":                            "Tiempo (s);Placa superior (°C);Placa inferior (°C);Presión (bar)\n0;145,2;144,8;10\n10;145,2;144,8;10\n",
		"set points before the readings":            "Time s,Top setpoint C,Top actual C,Bottom setpoint C,Bottom actual C,Pressure SP bar,Pressure PV bar\n0,150,145.2,150,144.8,12,10\n10,150,145.2,150,144.8,12,10\n",
		"set points behind their name":              "Time s,Set top C,Set bottom C,Top C,Bottom C,Pressure bar\n0,150,150,145.2,144.8,10\n10,150,150,145.2,144.8,10\n",
		"which press it was in front":               "Press,Time (s),Top (°C),Bottom (°C),Pressure (bar)\n1,0,145.2,144.8,10\n1,10,145.2,144.8,10\n",
		"units in a line of their own":              "Time,Top,Bottom,Pressure\ns,°F,°F,psi\n0,293.36,292.64,145.038\n10,293.36,292.64,145.038\n",
		"a comma within quoted headings":            "\"Time (s)\",\"Top platen, actual (°C)\",\"Bottom platen, actual (°C)\",\"Pressure (bar)\"\n0,145.2,144.8,10\n10,145.2,144.8,10\n",
		"date and time of ISO 8601":                 "Timestamp,Upper C,Lower C,Pressure bar\n2026-11-13T20:42:00Z,145.2,144.8,10\n2026-11-13T20:42:10Z,145.2,144.8,10\n",
		"a clock of twelve hours past noon":         "Time,Upper F,Lower F,Pressure psi\n11/13/2026 12:59:55 PM,293.36,292.64,145.038\n11/13/2026 1:00:05 PM,293.36,292.64,145.038\n",
		"a clock that goes past midnight":           "Time;Top C;Bottom C;Pressure bar\n23:59:55;145,2;144,8;10\n00:00:05;145,2;144,8;10\n",
		"gauge in atmospheres":                      "Time s;Top C;Bottom C;Pressure atm\n0;145,2;144,8;9,86923\n10;145,2;144,8;9,86923\n",
		"gauge in kilograms-force to the square cm": "Time s;Top C;Bottom C;Pressure kg/cm2\n0;145,2;144,8;10,19716\n10;145,2;144,8;10,19716\n",
	} {
		tr, err := Read([]byte(file))
		if err != nil || len(tr.AtS) != 2 || len(tr.incomplete) > 0 {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for what, d := range map[string]float64{"seconds apart": tr.AtS[1] - tr.AtS[0] - 10, "top": tr.Top[1] - 145.2, "bottom": tr.Bottom[1] - 144.8, "bar": tr.Pressure[1] - 10} {
			if math.Abs(d) > 1e-4 {
				t.Errorf("%s: %s is off by %g", name, what, d)
			}
		}
	}
}

// A force of the rams is no pressure on the splice, and a set value is no reading: without the right column the file is refused in a sentence that says which.
func TestATraceWithoutAPressureIsRefused(t *testing.T) {
	for name, heading := range map[string]string{"force of the rams": "Time s,Top C,Bottom C,Press force (kN)", "set pressure alone": "Time s,Top C,Bottom C,Set pressure bar", "tonnes": "Time s,Top C,Bottom C,Pressure (t)"} {
		_, err := Read([]byte(heading + "\n0,145,145,10\n10,145,145,10\n"))
		var none *NoTrace
		if !errors.As(err, &none) || !strings.Contains(none.What, "names pressure") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
