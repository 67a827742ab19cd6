package web

import (
	"carryside/assets/intake"
	"carryside/schedule/people"
)

// catalogueRoutes are the addresses of lines, production calendars, catalogues and lists brought in.
func catalogueRoutes() []Route {
	var out []Route
	add := func(may people.Deed, back, path string, do func(*Site, *Request) error, methods ...string) {
		for _, m := range methods {
			out = append(out, Route{Method: m, Path: "/plants/:plant/" + path, May: may, Under: "belts", Back: back, Do: do})
		}
	}
	add(people.Read, "lines", "lines", (*Site).lines, get)
	add(people.EditRegister, "lines", "lines/new", (*Site).editLine, get, post)
	add(people.EditRegister, "lines", "lines/:line", (*Site).editLine, get, post)
	add(people.EditRegister, "lines", "lines/:line/calendar", (*Site).lineCalendar, get, post)
	add(people.EditRegister, "lines", "calendar", (*Site).plantCalendar, get, post)
	add(people.Read, "catalogues", "catalogues", (*Site).catalogues, get)
	add(people.EditCatalogues, "catalogues", "catalogues/specifications/new", (*Site).editSpecification, get, post)
	add(people.EditCatalogues, "catalogues", "catalogues/specifications/:spec", (*Site).editSpecification, get, post)
	add(people.EditCatalogues, "catalogues", "catalogues/kinds/new", (*Site).editSpliceKind, get, post)
	add(people.EditCatalogues, "catalogues", "catalogues/kinds/:kind", (*Site).editSpliceKind, get, post)
	add(people.Import, "import", "import", (*Site).bringIn, get)
	add(people.Import, "import", "import/headings/:headings", (*Site).changeHeadings, post)
	add(people.Import, "import", "import/:trial", (*Site).trial, get)
	add(people.Import, "import", "import/:trial", (*Site).trialStep, post)
	add(people.Import, "import", "import/:trial/refused", (*Site).refusedRows, get)
	return append(out, Route{Method: post, Path: "/plants/:plant/import", May: people.Import, Under: "belts", Back: "import", Do: (*Site).bringIn,
		Body: intake.MaxFileBytes + 1<<20})
}
