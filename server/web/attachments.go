package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"

	"carryside/assets"
	"carryside/assets/enclosure"
	"carryside/schedule/people"
	"carryside/server/problem"
)

// Attachments is the photos, traces and certificates kept with things.
type Attachments interface {
	// AttachedTo lists what is kept with a thing of the scope, oldest first, with the names of who added it.
	AttachedTo(ctx context.Context, scope assets.Scope, kind assets.AttachedTo, id int64) ([]assets.Attachment, map[int64]string, error)
	// Attachment returns one that was not withdrawn. assets.ErrNotFound outside the scope.
	Attachment(ctx context.Context, scope assets.Scope, id int64) (assets.Attachment, error)
	// AttachmentContent returns its bytes, held against their hash.
	AttachmentContent(ctx context.Context, a assets.Attachment) ([]byte, error)
	// Attach keeps a file as it was sent and fills in what it is; again: the thing has it already.
	Attach(ctx context.Context, scope assets.Scope, act Act, a *assets.Attachment, sent []byte) (again bool, err error)
	// WithdrawAttachment lets a file be shown no more.
	WithdrawAttachment(ctx context.Context, scope assets.Scope, act Act, plantID, id int64) error
}

// attachmentsPage answers: which photos, traces and certificates are there of this, who added each and when?
type attachmentsPage struct {
	Page
	Of    string // what they are kept with: "conveyor Q3"
	Files []attachmentRow
	Form  *Form // to add one; nil for whom it is closed
	To    string
	Most  int // MB of one file
}

// attachmentRow is a file by its name; pictures are not drawn small, so that no file is read to list it.
type attachmentRow struct {
	Name, To, What, Size, Added, By string
	Digest                          string // first digits of its SHA-256
	Withdraw                        string
	Freed                           bool // place and device were left out
}

// uploads bounds how many files are read in at once: each stands in memory whole.
var uploads = make(chan struct{}, 4)

// keptWith is a thing that files are kept with: what it is called and where its page is.
type keptWith struct {
	kind       assets.AttachedTo
	id         int64
	says, page string
}

// attachedThing finds the thing that an address names.
func (s *Site) attachedThing(r *Request) (keptWith, error) {
	switch {
	case r.C.Param("splice") != "":
		sp, err := s.spliceAsked(r)
		if err != nil {
			return keptWith{}, err
		}
		c, err := s.Registers.Conveyor(r.Context(), r.Scope, sp.ConveyorID)
		return keptWith{assets.AttachedToSplice, sp.ID, c.Tag + " splice " + sp.Number, r.At("splices", sp.ID)}, err
	case r.C.Param("finding") != "":
		fd, err := s.findingAsked(r)
		if err != nil {
			return keptWith{}, err
		}
		c, err := s.Registers.Conveyor(r.Context(), r.Scope, fd.ConveyorID)
		return keptWith{assets.AttachedToFinding, fd.ID, "the finding of " + r.F.Date(fd.FoundAt) + " at " + c.Tag, r.At("conveyors", c.ID)}, err
	case r.C.Param("ticket") != "":
		list, err := s.CrewBook.CrewOf(r.Context(), r.Scope, r.PlantID(), r.Now)
		if err != nil {
			return keptWith{}, err
		}
		t, err := asked(r, "ticket", list.Tickets)
		return keptWith{assets.AttachedToTicket, t.ID, "the ticket of " + list.Names[t.PersonID] + ", " + list.ticketName(t.QualificationID), r.At("crew", "tickets", t.ID)}, err
	case r.C.Param("order") != "":
		number, err := r.ID("order")
		if err != nil {
			return keptWith{}, err
		}
		file, err := s.Orders.Order(r.Context(), r.Scope, r.PlantID(), number)
		if err != nil {
			return keptWith{}, err
		}
		return keptWith{assets.AttachedToOrder, file.Order.ID, fmt.Sprintf("order %d", number), r.At("orders", number)}, nil
	}
	c, err := s.conveyorAsked(r)
	return keptWith{assets.AttachedToConveyor, c.ID, "conveyor " + c.Tag, r.At("conveyors", c.ID)}, err
}

// attachments shows the files of a thing and takes a further one.
func (s *Site) attachments(r *Request) error {
	of, err := s.attachedThing(r)
	if err != nil {
		return err
	}
	p := &attachmentsPage{Of: of.says, To: r.C.Request.URL.Path, Most: enclosure.MaxBytes >> 20}
	if r.May(people.RecordFinding) {
		p.Form = r.NewForm()
		p.Form.File("file", "Photo, trace or certificate", enclosure.Accept).Must().OverBoth().
			Hinted(fmt.Sprintf("JPEG, PNG, WebP, GIF, PDF, text, CSV, JSON, workbook or document; at most %d MB", p.Most))
	}
	if r.Posted() {
		to, notice, err := s.takeAttachment(r, of)
		if err == nil {
			return r.Done(to, notice)
		}
		if !p.Form.Refused(err) {
			return err
		}
	}
	if err := s.fillAttachments(r, p, of); err != nil {
		return err
	}
	if p.Form != nil && p.Form.Wrong() {
		return r.Refill("attachments", p)
	}
	return r.Show("attachments", p)
}

func (s *Site) fillAttachments(r *Request, p *attachmentsPage, of keptWith) error {
	files, names, err := s.Attachments.AttachedTo(r.Context(), r.Scope, of.kind, of.id)
	if err != nil {
		return err
	}
	p.Sheet, p.Say = "Photos and papers", "No photo or paper is kept with "+of.says+" yet"
	if len(files) > 0 {
		p.Say = Capital(Count(len(files), "photo or paper is", "photos and papers are")) + " kept with " + of.says
	}
	p.Sub = "Each is told by its contents and proved by its SHA-256 in the journal. Of a photo, place and device are left out; the image is kept as it was taken."
	p.Do = append(p.Do, Action{Word: "To " + of.says, To: of.page})
	for _, a := range files {
		row := attachmentRow{Name: a.Name, To: r.At("attachments", a.ID), What: enclosure.Words(a.MediaType), Size: sizeWords(a.SizeBytes), Added: r.F.Stamp(a.AddedAt),
			By: orNotKnown(names[a.AddedByID]), Digest: a.SHA256[:min(12, len(a.SHA256))], Freed: a.SHA256 != a.SentSHA256}
		row.Withdraw, _ = r.Link("attachments/:attachment/withdraw", a.ID)
		p.Files = append(p.Files, row)
	}
	return nil
}

// sizeWords is a file's size: "840 kB", "3.2 MB".
func sizeWords(bytes int64) string {
	if bytes < 1_000_000 {
		return With(Num(max(1, float64(bytes)/1000), 0), "kB")
	}
	return With(Num(float64(bytes)/1e6, 1), "MB")
}

// busyUploads is said while as many files as may be are being read in.
var busyUploads = problem.Status{Code: http.StatusServiceUnavailable, Title: "Too many files are on their way in",
	Detail: "Nothing was kept. Wait a moment and send it once more."}

// takeAttachment reads the file that was sent and keeps it.
func (s *Site) takeAttachment(r *Request, of keptWith) (to, notice string, err error) {
	name, sent, err := r.sentFile("file")
	if err != nil {
		return "", "", err
	}
	a := assets.Attachment{PlantID: r.PlantID(), OfKind: of.kind, OfID: of.id, Name: name}
	again, err := s.Attachments.Attach(r.Context(), r.Scope, r.act("keep a file with "+of.says, ""), &a, sent)
	notice = a.Name + " is kept with " + of.says + "."
	if again {
		notice = "This file is kept already, as " + a.Name + "; nothing was added."
	}
	return r.C.Request.URL.Path, notice, err
}

// sentFile reads the file of a form's field: its name as sent and its bytes, at most as many as are kept.
func (r *Request) sentFile(field string) (name string, sent []byte, err error) {
	select {
	case uploads <- struct{}{}:
		defer func() { <-uploads }()
	default:
		return "", nil, busyUploads
	}
	head, err := r.C.FormFile(field)
	if err != nil || head == nil || head.Filename == "" {
		return "", nil, assets.Invalid{field: "choose the file to keep"}
	}
	if head.Size > enclosure.MaxBytes {
		return "", nil, enclosure.TooLarge
	}
	file, err := head.Open()
	if err != nil {
		return "", nil, fmt.Errorf("open the file that was sent: %w", err)
	}
	sent, err = io.ReadAll(io.LimitReader(file, enclosure.MaxBytes+1))
	if err = errors.Join(err, file.Close()); err != nil {
		return "", nil, fmt.Errorf("read the file that was sent: %w", err)
	}
	return head.Filename, sent, r.clean(sent)
}

// attachmentAsked finds the attachment an address names.
func (s *Site) attachmentAsked(r *Request) (assets.Attachment, error) {
	id, err := r.ID("attachment")
	if err != nil {
		return assets.Attachment{}, err
	}
	a, err := s.Attachments.Attachment(r.Context(), r.Scope, id)
	if err == nil && a.OfKind == assets.AttachedToTicket && !r.May(people.KeepCrew) {
		err = assets.ErrNotFound // somebody's papers are for whoever keeps the crews
	}
	return a, r.ofPlant(a.PlantID, err)
}

// attachment sends a file so that nothing in it runs: only raster images are shown in place, all else is saved; no
// browser may guess another type, and what is shown stands in a sandbox without script, forms or anything loaded.
func (s *Site) attachment(r *Request) error {
	a, err := s.attachmentAsked(r)
	if err != nil {
		return err
	}
	content, err := s.Attachments.AttachmentContent(r.Context(), a)
	if err != nil {
		return err
	}
	disposition := "attachment"
	if enclosure.Picture(a.MediaType) {
		disposition = "inline"
	}
	r.C.Header("Content-Disposition", mime.FormatMediaType(disposition, map[string]string{"filename": a.Name}))
	r.C.Header("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'; sandbox")
	r.C.Header("X-Content-Type-Options", "nosniff")
	r.C.Header("Cache-Control", "private, no-store")
	r.C.Data(http.StatusOK, a.MediaType, content)
	return nil
}

// withdrawAttachment answers: this file is of no use or should not be here; how does it go?
func (s *Site) withdrawAttachment(r *Request) error {
	a, err := s.attachmentAsked(r)
	if err != nil {
		return err
	}
	back, err := s.attachmentPage(r, a)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Withdraw it", Leave: back}
		p.Sheet, p.Say = "Withdraw a file", "Withdraw "+a.Name
		p.Says = []string{"It is shown to nobody any more. Its bytes stay in the database, as the journal protects them."}
		f.version(a.Version)
		p.reason(true, "Wrong conveyor, somebody's face, sent twice")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		why := e.reason()
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Attachments.WithdrawAttachment(r.Context(), r.Scope, r.act("withdraw the file "+a.Name, why), r.PlantID(), a.ID)
		return back, a.Name + " is withdrawn.", err
	})
}

// attachmentPage is the address of the files that an attachment stands among.
func (s *Site) attachmentPage(r *Request, a assets.Attachment) (string, error) {
	switch a.OfKind {
	case assets.AttachedToSplice:
		return r.At("splices", a.OfID, "files"), nil
	case assets.AttachedToFinding:
		return r.At("findings", a.OfID, "files"), nil
	case assets.AttachedToTicket:
		return r.At("crew", "tickets", a.OfID, "files"), nil
	case assets.AttachedToOrder:
		all, _, err := s.Orders.OrderList(r.Context(), r.Scope, r.PlantID(), OrderFilter{})
		for _, o := range all {
			if o.ID == a.OfID {
				return r.At("orders", o.Number, "files"), err
			}
		}
		return r.At("orders"), err
	}
	return r.At("conveyors", a.OfID, "files"), nil
}

// filesLink leads from a thing's page to its files and says how many there are.
func (s *Site) filesLink(r *Request, kind assets.AttachedTo, id int64, pattern string, shown int64) (Link, error) {
	files, _, err := s.Attachments.AttachedTo(r.Context(), r.Scope, kind, id)
	to, _ := r.Link(pattern, shown)
	return Link{Word: fmt.Sprintf("Photos and papers (%d)", len(files)), To: to}, err
}

// attachmentRoutes are the addresses of files kept with things.
func attachmentRoutes() []Route {
	var out []Route
	for _, of := range [...]struct{ under, path string }{{"belts", "conveyors/:conveyor"}, {"belts", "splices/:splice"}, {"belts", "findings/:finding"}, {"orders", "orders/:order"}} {
		path := "/plants/:plant/" + of.path + "/files"
		out = append(out, Route{Method: get, Path: path, May: people.Read, Under: of.under, Back: of.under, Do: (*Site).attachments},
			Route{Method: post, Path: path, May: people.RecordFinding, Under: of.under, Back: of.under, Do: (*Site).attachments, Body: enclosure.MaxBytes + 1<<20})
	}
	tickets := "/plants/:plant/crew/tickets/:ticket/files"
	out = append(out, Route{Method: get, Path: tickets, May: people.KeepCrew, Under: "horizon", Back: "crew", Do: (*Site).attachments},
		Route{Method: post, Path: tickets, May: people.KeepCrew, Under: "horizon", Back: "crew", Do: (*Site).attachments, Body: enclosure.MaxBytes + 1<<20})
	one := "/plants/:plant/attachments/:attachment"
	return append(out, Route{Method: get, Path: one, May: people.Read, Under: "belts", Back: "belts", Do: (*Site).attachment},
		Route{Method: get, Path: one + "/withdraw", May: people.EditRegister, Under: "belts", Back: "belts", Do: (*Site).withdrawAttachment},
		Route{Method: post, Path: one + "/withdraw", May: people.EditRegister, Under: "belts", Back: "belts", Do: (*Site).withdrawAttachment})
}
