package assets

// Attachment is a file kept with a thing: a photo, a press's trace, a certificate. Its contents stand apart, in pieces.
type Attachment struct {
	Version
	PlantID    int64
	OfKind     AttachedTo
	OfID       int64 // number of the thing; of an order its ID
	Name       string
	MediaType  string // told by looking at the contents
	SizeBytes  int64
	SHA256     string `gorm:"column:sha256"`      // of the bytes kept, hexadecimal
	SentSHA256 string `gorm:"column:sent_sha256"` // of the bytes sent; differs where a photo's place was left out
	AddedAt    Instant
	AddedByID  int64
}

// AttachedTo is what an attachment can be kept with.
type AttachedTo string

// What attachments are kept with.
const (
	AttachedToConveyor AttachedTo = "conveyor"
	AttachedToSplice   AttachedTo = "splice"
	AttachedToFinding  AttachedTo = "finding"
	AttachedToOrder    AttachedTo = "order"
	// AttachedToTicket is a certificate of somebody's ticket, kept at the plant it was shown at.
	AttachedToTicket AttachedTo = "ticket"
)
