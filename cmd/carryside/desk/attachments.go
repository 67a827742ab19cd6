package desk

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/attached"
	"carryside/assets/plantdb/registry"
	"carryside/server/web"
)

// AttachedTo lists what is kept with a thing, with the names of who added it.
func (d *Desk) AttachedTo(ctx context.Context, scope assets.Scope, kind assets.AttachedTo, id int64) ([]assets.Attachment, map[int64]string, error) {
	files, err := attached.Of(ctx, d.db, scope, kind, id)
	if err != nil {
		return nil, nil, err
	}
	var ids []int64
	for _, f := range files {
		ids = append(ids, f.AddedByID)
	}
	names, err := registry.Names(ctx, d.db, ids)
	return files, names, err
}

// Attachment returns one that was not withdrawn.
func (d *Desk) Attachment(ctx context.Context, scope assets.Scope, id int64) (assets.Attachment, error) {
	return attached.Attachment(ctx, d.db, scope, id)
}

// AttachmentContent returns the bytes of one.
func (d *Desk) AttachmentContent(ctx context.Context, a assets.Attachment) ([]byte, error) {
	return attached.Content(ctx, d.db, a)
}

// Attach keeps a file with a thing of a plant.
func (d *Desk) Attach(ctx context.Context, scope assets.Scope, a web.Act, file *assets.Attachment, sent []byte) (again bool, err error) {
	err = d.write(ctx, scope, a, file.PlantID, func(c *plantdb.Change) (err error) {
		next := *file // a change may run twice
		again, err = attached.Add(c, &next, sent)
		if err == nil {
			*file = next
		}
		return err
	})
	return again, err
}

// WithdrawAttachment lets a file be shown no more.
func (d *Desk) WithdrawAttachment(ctx context.Context, scope assets.Scope, a web.Act, plantID, id int64) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return attached.Withdraw(c, plantID, id) })
}
