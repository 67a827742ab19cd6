package desk

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/worksheets"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// Sheet returns the sheet of an order, or the one it would be opened with.
func (d *Desk) Sheet(ctx context.Context, scope assets.Scope, o workorder.Order, form assets.Form, bond assets.Bond) (web.SheetFile, error) {
	sheet, opened, err := worksheets.Of(ctx, d.db, scope, o.ID)
	if err != nil {
		return web.SheetFile{}, err
	}
	f := web.SheetFile{Sheet: sheet.JobSheet, Opened: opened, Entries: sheet.Entries}
	if !opened {
		t, err := worksheets.For(ctx, d.db, o.Kind, form, bond)
		if err != nil {
			return f, err
		}
		f.Sheet = assets.JobSheet{PlantID: o.PlantID, OrderID: o.ID, TemplateID: t.ID, Edition: t.Edition, Steps: t.Steps}
	}
	var ids []int64
	for _, e := range f.Entries {
		ids = append(ids, e.PersonID)
	}
	f.People, err = registry.Names(ctx, d.db, ids)
	return f, err
}

// NoteSteps opens the sheet where there is none, writes its head and adds entries.
func (d *Desk) NoteSteps(ctx context.Context, scope assets.Scope, a web.Act, o workorder.Order, form assets.Form, bond assets.Bond, head web.SheetHead, entries []assets.JobEntry) error {
	return d.write(ctx, scope, a, o.PlantID, func(c *plantdb.Change) error {
		s, err := worksheets.Open(c, o, form, bond)
		if err != nil {
			return err
		}
		if s.Isolation != head.Isolation || s.Permit != head.Permit {
			if err := worksheets.SetHead(c, s, head.Isolation, head.Permit, nil); err != nil {
				return err
			}
		}
		for _, e := range entries {
			if _, err := worksheets.Note(c, s, &e); err != nil {
				return err
			}
		}
		return nil
	})
}

// StepTemplates lists the company's own templates.
func (d *Desk) StepTemplates(ctx context.Context) ([]assets.JobTemplate, error) {
	return worksheets.Templates(ctx, d.db)
}

// SaveStepTemplate adds a template or its next edition.
func (d *Desk) SaveStepTemplate(ctx context.Context, a web.Act, t *assets.JobTemplate) error {
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error {
		next := *t // a change may run twice
		err := worksheets.SaveTemplate(c, &next)
		if err == nil {
			*t = next
		}
		return err
	})
}
