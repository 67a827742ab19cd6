package web

import (
	"carryside/assets"
	"carryside/schedule/workorder"
)

// cautions are the usual ones of the trade for work at a conveyor, those first that hold for every job. They
// are common practice, they replace neither the site's rules nor qualified people, and nothing here ever
// says that a conveyor is safe to run.
func cautions(c assets.Conveyor, v fleetView, o workorder.Order) []string {
	at := "Isolate"
	if c.IsolationGroup != "" {
		at += " at " + c.IsolationGroup
	}
	list := []string{
		at + " with your own lock and tag, try to start, prove dead. Belt and pull-cord switches are no isolation.",
		"Stored tension: " + takeUpCaution(c) + " Clamp the belt on both sides before any cut.",
		"Nip points at every pulley and idler: guards stay on until isolation is proved, and go back before it is lifted.",
	}
	if c.InclineDeg > 3 || c.InclineDeg < -3 {
		list = append(list, "Incline "+Short(c.InclineDeg, 1)+"°: the belt can run back. Use clamps rated for it on the lower side.")
	}
	s, _ := v.Register.Splice(o.SpliceID)
	if o.Kind == workorder.KindResplice || o.Kind == workorder.KindBeltChange || o.Kind == workorder.KindInsertPiece {
		list = append(list, cuttingCautions(s)...)
	}
	if c.WashDown {
		list = append(list, "Food area: hygiene rules of the plant; count tools and blades in and out, leave no offcuts.")
	}
	return list
}

func takeUpCaution(c assets.Conveyor) string {
	switch c.TakeUpKind {
	case "gravity":
		return "pin or lower the take-up weight."
	case "screw":
		return "slacken the take-up screws."
	}
	return "release the take-up."
}

func cuttingCautions(s assets.Splice) []string {
	list := []string{
		"Knives: cut-resistant gloves, cut away from the body, count blades in and out.",
		"Lifting: belt and press parts by hoist; keep from under them.",
	}
	switch s.Bond {
	case assets.BondHotPressed, assets.BondHotVulcanised:
		list = append(list, "Hot platens: heat gloves until the release temperature. Press supply checked, residual-current protection in it.",
			"Press under pressure: nobody beside the frame while it builds; release it before loosening anything. Fumes: ventilate, no ignition source.")
	case assets.BondColdBonded:
		list = append(list, "Adhesive and solvent: no ignition source, ventilate, gloves and eye protection by the maker's sheet.")
	}
	if s.Bond == assets.BondHotVulcanised {
		list = append(list, "Cement and solvent: no ignition source, ventilate, fire watch afterwards by site rules.")
	}
	return list
}
