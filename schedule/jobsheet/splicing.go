package jobsheet

import "carryside/assets"

// splicing are the steps that make a splice of a kind.
func splicing(form assets.Form, bond assets.Bond) []assets.JobStep {
	switch {
	case form.Mechanical():
		return mechanical()
	case form == assets.FormFinger || form == assets.FormFingerOverFinger:
		return finger(form, bond)
	case bond == assets.BondHotVulcanised:
		return joined(stepped(), vulcanised())
	case bond == assets.BondColdBonded:
		return joined(stepped(), coldBonded())
	}
	return joined(stepped(), pressed())
}

// finger is a finger splice made in a hot press.
func finger(form assets.Form, bond assets.Bond) []assets.JobStep {
	list := []assets.JobStep{
		step("squared", "Both ends squared and clamped in the cutter against the guide"),
		step("blade", "Blade and cutting pad seen to be good; a first cut goes through whole"),
		measured("fingers", "Both ends cut, fingers counted across the width", "whole fingers", "fingers", at(1), nil),
	}
	if form == assets.FormFingerOverFinger {
		list = append(list, step("layers", "Layers parted and offset by the template, both ends alike"))
	}
	list = append(list,
		photo(step("set", "Fingers set from the middle outwards, tips closed, ends in line, edge strips of belt thickness beside them")),
		step("cloth", "Release cloth above and below, clean and whole, pattern pad where the cover has one"))
	if bond == assets.BondHotVulcanised {
		return joined(list, vulcanised())
	}
	return joined(list, pressed())
}

// pressed is a cycle in a hot press for thermoplastic belts.
func pressed() []assets.JobStep {
	return []assets.JobStep{
		step("closed", "Press closed, thermometers in, pressure built"),
		step("recipe", "Recipe set and read back by a second person"),
		step("heated", "Heated to the set temperature, both platens"),
		measured("dwell", "Dwell held with both platens in tolerance", "dwell", "min", nil, nil),
		step("cooled", "Cooled under pressure"),
		measured("release", "Opened at the release temperature or below", "temperature at opening", "degC", nil, nil),
		step("trimmed", "Flash trimmed at the edges, splice flexed by hand"),
	}
}

func stepped() []assets.JobStep {
	return []assets.JobStep{
		measured("marked", "Ends marked from the centre line, steps and bias as computed", "difference of the diagonals", "m", nil, mm(4)),
		photo(step("stripped", "Plies stripped and buffed, no nick in the fabric below")),
	}
}

func vulcanised() []assets.JobStep {
	return []assets.JobStep{
		measured("laid", "Cement, tie gum and covers laid, lot and date of each noted", "gap at the ply seams", "m", mm(0.8), mm(1.6)), // handbooks: 1/32 to 1/16 in
		measured("irons", "Edge irons thinner than the belt, thermocouples in the seam", "thinner than the belt", "m", mm(0.8), mm(1.6)),
		step("recipe", "Recipe set and read back by a second person"),
		step("warm", "Full pressure once the platens are warm"),
		measured("dwell", "Dwell counted from the coldest thermocouple reaching tolerance", "dwell", "min", nil, nil),
		step("cooled", "Cooled under full pressure"),
		measured("release", "Opened at the release temperature or below", "temperature at opening", "degC", nil, nil),
		step("trimmed", "Edges trimmed, thermocouples out, surface seen"),
	}
}

func coldBonded() []assets.JobStep {
	return []assets.JobStep{
		measured("climate", "Air and belt dry and warm enough for the adhesive, by its sheet", "belt temperature", "degC", nil, nil),
		step("mixed", "Adhesive and hardener mixed by weight, lot and shelf life noted, pot life watched"),
		step("coats", "Coats laid, each dry to the touch before the next"),
		step("rolled", "Steps laid from the middle outwards, rolled and stitched, seams hammered"),
		measured("cured", "Cured before tension, by the adhesive's sheet", "time without tension", "h", at(2), nil),
	}
}

func mechanical() []assets.JobStep {
	return []assets.JobStep{
		step("series", "Fastener series fits thickness, tension and the smallest pulley"),
		measured("square", "Ends squared to the centre line", "difference of the diagonals", "m", nil, mm(4)),
		step("skived", "Covers skived where the fastener would stand proud"),
		step("driven", "Fasteners set by the template from the middle outwards, tightened or driven evenly"),
		step("pin", "Hinge pin in, wear-matched, its ends secured; tails cut"),
	}
}
