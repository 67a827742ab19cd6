package calc

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"

	"carryside/schedule/press"
)

const keyFiguresKind = "key-figures"

// workKinds are the proof of work done and the figures about it.
var workKinds = map[string]Kind{
	"press":        pressCycle,
	keyFiguresKind: keyFigures,
}

// recipesFile stands beside a file of press cases.
const recipesFile = "recipes.json"

// pressCycle judges one trace by its recipe.
func pressCycle(c *Case) (any, error) {
	trace, recipe := c.Text("trace"), c.Text("recipe")
	if c.Err() != nil {
		return nil, nil
	}
	if c.beside.Files == nil {
		return nil, errors.New("the cases name traces and recipes, but no folder stands beside them; give the case file by its name")
	}
	by, err := recipeNamed(c, recipe)
	if err != nil {
		return nil, err
	}
	file, err := fs.ReadFile(c.beside.Files, trace)
	if err != nil {
		return nil, fmt.Errorf("case %s: its trace %s cannot be read; put it beside the case file", c.where, trace)
	}
	t, err := press.Read(file)
	if err != nil {
		return nil, &Refusal{"bad_input", err.Error()}
	}
	return judged(t.Judge(by)), nil
}

// recipeNamed finds a recipe in the file of recipes.
func recipeNamed(c *Case, id string) (press.Recipe, error) {
	file, err := fs.ReadFile(c.beside.Files, recipesFile)
	if err != nil {
		return press.Recipe{}, fmt.Errorf("case %s: the file %s beside the cases cannot be read; put it there", c.where, recipesFile)
	}
	recipes, err := split(file)
	if err != nil {
		return press.Recipe{}, fmt.Errorf("%s: %w", recipesFile, err)
	}
	for _, r := range recipes {
		if raw, err := json.Marshal(id); err == nil && string(r.Raw("id")) == string(raw) {
			by := recipeOf(&r.Fields)
			return by, r.Err()
		}
	}
	return press.Recipe{}, fmt.Errorf("case %s: there is no recipe %s in %s; add it or correct the case", c.where, id, recipesFile)
}

func recipeOf(f *Fields) press.Recipe {
	bar, forgiven := f.Object("pressure_bar"), f.Object("excursion")
	r := press.Recipe{
		SetTopC: f.Number("set_top_C"), SetBottomC: f.Number("set_bottom_C"), ToleranceK: f.Number("tolerance_K"),
		HeatingRate: bandOf(f, "heating_rate_K_min"), TimeToTempMax: f.Number("time_to_temperature_max_min"), Dwell: bandOf(f, "dwell_min"),
		OvershootMaxK: f.Number("overshoot_max_K"), PressureBar: bar.Number("set"), PressurePct: bar.Number("tolerance_percent"),
		SpreadMaxK: f.Number("spread_max_K"), CoolingMax: f.Number("cooling_max_min"), ReleaseMaxC: f.Number("release_max_C"),
		DurationMax: f.Number("duration_max_min"), ExcursionS: forgiven.Number("max_s"), ExcursionK: forgiven.Number("max_K"),
	}
	if f.Has("equivalent_cure") {
		cure := f.Object("equivalent_cure")
		r.Cure = &press.Cure{RefC: cure.Number("T_ref_C"), Minutes: press.Band{Min: cure.NumberOr("min_min", 0), Max: cure.NumberOr("max_min", math.Inf(1))}}
	}
	return r
}

func bandOf(f *Fields, name string) press.Band {
	b := f.Object(name)
	return press.Band{Min: b.NumberOr("min", 0), Max: b.NumberOr("max", math.Inf(1))}
}

// judged is a judgement in the shape of the check values.
func judged(j press.Judgement) any {
	cycles := make([]any, len(j.Cycles))
	for i, c := range j.Cycles {
		criteria := map[string]any{}
		for _, one := range c.Criteria {
			said := map[string]any{"value": one.Value, "verdict": one.Verdict}
			if one.Why != "" {
				said["why"] = one.Why
			}
			criteria[one.Name] = said
		}
		cycles[i] = map[string]any{"data_rows": [2]int{c.FirstRow, c.LastRow}, "overall": c.Overall, "criteria": criteria}
	}
	notices := make([]any, len(j.Notices))
	for i, n := range j.Notices {
		notices[i] = noticed(n)
	}
	return map[string]any{"cycles": cycles, "needs_choice_of_cycle": j.NeedsChoice(), "notices": notices}
}

func noticed(n press.Notice) map[string]any {
	said := map[string]any{"kind": n.Kind}
	if n.Sensor != "" {
		said["sensor"] = n.Sensor
	}
	for name, v := range map[string]*float64{"from_s": n.FromS, "to_s": n.ToS, "at_C": n.AtC} {
		if v != nil {
			said[name] = math.Round(*v*10) / 10
		}
	}
	if n.DataRow > 0 {
		said["data_row"] = n.DataRow
	}
	return said
}
