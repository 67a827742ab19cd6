package intake

import (
	"regexp"
	"strconv"
	"strings"

	"carryside/assets"
)

// spliceKind is what a list says of how a splice was made: the word as the contract prints it, and the halves it names.
type spliceKind struct {
	word string
	form assets.Form
	bond assets.Bond
}

var (
	formWords = map[string]assets.Form{
		"finger": assets.FormFinger, "fingers": assets.FormFinger, "fingered": assets.FormFinger, "z": assets.FormFinger, "zjoint": assets.FormFinger, "zsplice": assets.FormFinger,
		"dedos": assets.FormFinger, "dedo": assets.FormFinger, "fingerverbindung": assets.FormFinger,
		"stepped": assets.FormStepped, "step": assets.FormStepped, "steps": assets.FormStepped, "gestuft": assets.FormStepped, "stufen": assets.FormStepped, "stufe": assets.FormStepped,
		"stufenverbindung": assets.FormStepped, "escalonado": assets.FormStepped, "escalonada": assets.FormStepped, "escalones": assets.FormStepped,
		"skived": assets.FormSkivedOverlap, "skive": assets.FormSkivedOverlap, "overlap": assets.FormSkivedOverlap, "overlapped": assets.FormSkivedOverlap, "geschaftet": assets.FormSkivedOverlap,
		"geschaeftet": assets.FormSkivedOverlap, "uberlappt": assets.FormSkivedOverlap, "solape": assets.FormSkivedOverlap, "solapado": assets.FormSkivedOverlap, "solapada": assets.FormSkivedOverlap,
		"butt": assets.FormButt, "stumpf": assets.FormButt, "tope": assets.FormButt,
		"mechanical": assets.FormMechanical, "mech": assets.FormMechanical, "lacing": assets.FormMechanical, "laced": assets.FormMechanical, "fasteners": assets.FormMechanical, "fastener": assets.FormMechanical,
		"mechanisch": assets.FormMechanical, "mechanische": assets.FormMechanical, "grapas": assets.FormMechanical, "grapa": assets.FormMechanical, "mecanico": assets.FormMechanical, "mecanica": assets.FormMechanical,
		"clips": assets.FormMechanical, "clip": assets.FormMechanical, "verbinder": assets.FormMechanical, "klammern": assets.FormMechanical,
	}
	hotWords  = set("hot", "vulc", "vulcanised", "vulcanized", "vulcanise", "vulcanize", "vulkanisiert", "heiss", "heissvulkanisiert", "heissverbindung", "vulcanizado", "vulcanizada", "caliente", "vulkanisierung", "vulcanising", "vulcanizing")
	coldWords = set("cold", "kalt", "geklebt", "kaltgeklebt", "kaltverbindung", "frio", "pegado", "encolado", "kaltvulkanisiert")
	pressWord = set("pressed", "press", "pressing", "verpresst", "gepresst", "prensado", "heissgepresst")
)

// readSpliceKind reads form and bond out of a cell; ok is false when it names neither or contradicts itself.
func readSpliceKind(s string) (k spliceKind, ok bool) {
	words := strings.Fields(fold(s))
	hot, cold, pressed := false, false, false
	for i, w := range words {
		if f, is := formWords[w]; is {
			if w == "finger" && i+2 < len(words) && words[i+1] == "over" && strings.HasPrefix(words[i+2], "finger") {
				f = assets.FormFingerOverFinger
			}
			if k.form == assets.FormFingerOverFinger && f == assets.FormFinger {
				f = k.form
			}
			if k.form != "" && k.form != f {
				return spliceKind{}, false
			}
			k.form = f
		}
		hot = hot || hotWords[w]
		cold = cold || coldWords[w]
		pressed = pressed || pressWord[w]
	}
	switch {
	case k.form == assets.FormMechanical:
		k.bond = assets.BondNone
	case cold && hasWord(words, "hot"):
		return spliceKind{}, false
	case cold:
		k.bond = assets.BondColdBonded
	case hot && pressed:
		k.bond = assets.BondHotPressed
	case hot:
		k.bond = assets.BondHotVulcanised
	}
	k.word = string(k.form)
	if k.form == "" {
		k.word = string(k.bond)
	}
	return k, k.word != ""
}

func hasWord(words []string, w string) bool {
	for _, o := range words {
		if o == w {
			return true
		}
	}
	return false
}

// agrees tells whether the halves that both name are the same.
func (k spliceKind) agrees(o spliceKind) bool {
	return (k.form == "" || o.form == "" || k.form == o.form || k.form.Mechanical() && o.form.Mechanical()) &&
		(k.bond == "" || o.bond == "" || k.bond == o.bond)
}

// with fills the halves that k leaves open from o.
func (k spliceKind) with(o spliceKind) spliceKind {
	if k.form == "" {
		k.form = o.form
	}
	if k.bond == "" {
		k.bond = o.bond
	}
	k.word = string(k.form)
	if k.form == "" {
		k.word = string(k.bond)
	}
	return k
}

var (
	retiredWords = []string{"scrapped", "scrap", "out of use", "not in use", "removed", "decommissioned", "dismantled", "retired", "out of service", "stillgelegt", "verschrottet", "ausser betrieb", "demontiert", "abgebaut", "nicht in betrieb",
		"baja", "retirada", "retirado", "fuera de servicio", "fuera de uso", "desguazada", "desguazado", "desmontada", "desmontado", "no en uso", "disused", "abandoned"}
	inUseWords = []string{"in use", "in service", "in operation", "use", "yes", "y", "active", "running", "ok", "live", "operational", "in betrieb", "betrieb", "aktiv", "ja", "lauft", "en uso", "en servicio", "en marcha", "activo", "activa", "si", "x", "true", "1", "operativa", "operativo", "alta", "installed", "in_use"}
	outWords   = []string{"no", "n", "nein", "false", "0", "out", "inactive", "inaktiv", "inactivo", "inactiva"}
)

// readStatus reads whether a conveyor is in use.
func readStatus(s string) (assets.ConveyorStatus, bool) {
	t := " " + fold(s) + " "
	for _, w := range retiredWords {
		if strings.Contains(t, " "+w+" ") {
			return assets.ConveyorRetired, true
		}
	}
	bare := strings.TrimSpace(t)
	for _, w := range outWords {
		if bare == w {
			return assets.ConveyorRetired, true
		}
	}
	for _, w := range inUseWords {
		if bare == w || (len(w) > 4 && strings.HasPrefix(bare, w+" ")) {
			return assets.ConveyorInUse, true
		}
	}
	return "", false
}

// dateBehindWords cuts what comes before the first digit: "scrapped 2021" leaves 2021, "stillgelegt im März 2020" leaves
// the whole for the date reader to find the month.
var dateBehindWords = regexp.MustCompile(`^\D*?\s((?:[\p{L}.]+\s)?\d.*)$`)

var (
	scrapReason  = regexp.MustCompile(`\b(scrapped|scrap|dismantled|decommissioned|verschrottet|stillgelegt|demontiert|desguace|desguazad[oa]|chatarra)\b`)
	failedReason = regexp.MustCompile(`\b(fail\w*|tore|torn|tear|ripped|rip|opened|open|opening|pulled out|pull out|broke|broken|break|parted|let go|snapped|split|delaminat\w*|gerissen|abgerissen|ausgerissen|riss|aufgegangen|gebrochen|ausgefallen|rot[oa]|rotura|abiert[oa]|abrio|rompio|desgarr\w*|fallo|fallad[oa]|revent\w*)\b`)
	beltReason   = regexp.MustCompile(`\b(belt (change\w*|removed|replaced|renew\w*|exchanged|swap\w*)|change of (the )?belt|new belt|replaced belt|changed belt|belt was (changed|replaced)|gurtwechsel|gurttausch|gurt (gewechselt|getauscht|erneuert|entfernt)|neuer gurt|bandwechsel|cambio de (la )?banda|banda (cambiada|nueva|retirada)|nueva banda|belt removed)\b`)
	planReason   = regexp.MustCompile(`\b(planned|scheduled|schedule|pm|preventive|geplant\w*|planmassig\w*|planmaessig\w*|programad[oa]|planificad[oa]|preventiv[oa])\b`)
)

// readReason reads why a splice ended. When it tells of damage the words are the failure mode too.
func readReason(s string) (assets.RetiredWhy, bool) {
	t := fold(s)
	unplanned := strings.Contains(t, "unplanned") || strings.Contains(t, "not planned") || strings.Contains(t, "ungeplant")
	switch {
	case failedReason.MatchString(t):
		return assets.RetiredFailed, true
	case scrapReason.MatchString(t):
		return assets.RetiredConveyorScrapped, true
	case beltReason.MatchString(t), t == "belt", t == "gurt", t == "banda":
		return assets.RetiredBeltRemoved, true
	case planReason.MatchString(t) && !unplanned:
		return assets.RetiredPlanned, true
	}
	return "", false
}

// meterEvent is what a row tells of the meter itself.
type meterEvent uint8

const (
	noEvent meterEvent = iota
	newMeter
	rolledOver
)

var (
	newMeterWords = regexp.MustCompile(`\b(new (hour ?)?meter|new counter|(hour ?)?meter (was )?(replaced|changed|exchanged|renewed|swapped|new)|replaced (the )?(hour ?)?meter|changed (the )?meter|meter replacement|meter change|meter swap|replacement meter|zahler (getauscht|gewechselt|ersetzt|erneuert|neu)|neuer (betriebsstunden)?zahler|(betriebsstunden)?zahlerwechsel|zahlertausch|(horometro|contador|cuentahoras) (nuevo|cambiado|sustituido|reemplazado)|nuevo (horometro|contador|cuentahoras)|cambio de (horometro|contador|cuentahoras))\b`)
	rolledWords   = regexp.MustCompile(`\b(rolled over|roll over|rollover|rolls over|went round|meter rolled|ubergelaufen|uberlauf|zahleruberlauf|uebergelaufen|ueberlauf|vuelta a cero|vuelta a 0|dio la vuelta|volvio a cero|desborde)\b`)
	newEventWords = set("new", "replaced", "exchange", "exchanged", "changed", "neu", "getauscht", "gewechselt", "ersetzt", "wechsel", "tausch", "nuevo", "cambiado", "cambio", "sustituido", "replacement", "yes", "ja", "si", "x", "new meter")
)

// readEvent reads a remark or the cell of a meter's event. inEventColumn lets a bare "new" or "ja" count.
func readEvent(s string, inEventColumn bool) meterEvent {
	t := fold(s)
	switch {
	case t == "" || strings.HasPrefix(t, "no new ") || strings.HasPrefix(t, "kein neuer "):
		return noEvent
	case rolledWords.MatchString(t):
		return rolledOver
	case newMeterWords.MatchString(t), inEventColumn && newEventWords[t]:
		return newMeter
	}
	return noEvent
}

var (
	yesWords = set("yes", "y", "ja", "j", "si", "s", "true", "1", "x", "running", "in motion", "moving", "lauft", "in betrieb", "en marcha", "marcha")
	noWords  = set("no", "n", "nein", "false", "0", "stopped", "standing", "still", "steht", "stand", "stillstand", "parado", "parada", "detenida", "detenido", "stop")
)

// readFlag reads yes and no.
func readFlag(s string) (yes, ok bool) {
	t := fold(s)
	return yesWords[t], yesWords[t] || noWords[t]
}

var gradeText = regexp.MustCompile(`^(?:grade|severity|stufe|note|grado|level|g|s)? ?(-?\d{1,3})(?:[.,]0+)?(?: ?[-:(=] ?\p{L}.*| \p{L}[\p{L} ]*)?$`)

// readGrade reads a grade 0 to 4.
func readGrade(s string) (grade int, f fault) {
	t := strings.ToLower(strings.TrimSpace(plainMarks(s)))
	m := gradeText.FindStringSubmatch(t)
	if m == nil {
		if holdsSeveral(t, angle, unitDeg, decimalPoint) {
			return 0, faultSeveral
		}
		return 0, faultNotANumber
	}
	grade, _ = strconv.Atoi(m[1])
	if grade < 0 || grade > 4 {
		return grade, faultRange
	}
	return grade, ""
}

// lookalikes turns a tag key's letters that are taken for digits into those digits, so that a mistyped tag finds the one
// that was meant.
func lookalikes(key string) string { return lookalike.Replace(strings.ReplaceAll(key, "-", "")) }

var lookalike = strings.NewReplacer("O", "0", "Q", "0", "I", "1", "L", "1", "S", "5", "B", "8", "Z", "2")

// spliceMark is how a splice's number is compared: without case, signs and leading zeros.
func spliceMark(s string) string {
	t := strings.ReplaceAll(fold(s), " ", "")
	if z := strings.TrimLeft(t, "0"); z != "" {
		return z
	}
	return t
}

// sameText tells whether two texts say the same: without case and surplus blanks.
func sameText(a, b string) bool {
	return a == b || strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}
