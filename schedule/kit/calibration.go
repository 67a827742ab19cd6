package kit

import "carryside/assets"

// Due is when the calibration of a piece of kit is due.
type Due struct {
	Last    *assets.Calibration // nil: none is on record
	Day     assets.Day          // "" where none is due
	Overdue bool
	Seen    bool // the certificate is kept
}

// CalibrationDue works out from a kit's calibrations, in any order, when the next is due: the day the last one names.
func CalibrationDue(all []assets.Calibration, today assets.Day) Due {
	var d Due
	for i, c := range all {
		if !c.Withdrawn && (d.Last == nil || c.OnDay > d.Last.OnDay || c.OnDay == d.Last.OnDay && c.ID > d.Last.ID) {
			d.Last = &all[i]
		}
	}
	if d.Last == nil {
		return d
	}
	d.Day, d.Seen = d.Last.DueDay, d.Last.AttachmentID != 0 || d.Last.Certificate != ""
	d.Overdue = d.Day != "" && d.Day < today
	return d
}

// Measures tells whether a class of kit measures and so is calibrated.
func Measures(c assets.KitClass) bool { return c == assets.KitThermometer || c == assets.KitGauge }
