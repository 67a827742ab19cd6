package assets

// Round is a walk along lines of a plant, in the order in which they are walked.
type Round struct {
	Version
	PlantID int64
	Name    string
	LineIDs []int64 `gorm:"serializer:json"` // in walking order
	Remark  string
}

// RoundEntry is how a finding came in from a phone: by whose device, at what time by its clock, and when it arrived. A
// finding that was altered on the phone after it had arrived has an entry for each revision.
type RoundEntry struct {
	ID           int64 `gorm:"primaryKey;autoIncrement:false"`
	PlantID      int64
	RoundID      int64
	FindingID    int64
	ClientID     string // made on the phone
	Revision     int64
	PersonID     int64
	DeviceID     int64
	DeviceAt     Instant // by the phone's clock
	OffsetUS     *int64  // phone's clock less the program's at the last contact before it was entered; nil: there was none
	SentOffsetUS int64   // the same when it was sent
	ArrivedAt    Instant
	Clock        string   // which time holds: see the words below
	ClockBy      int64    // who said so; 0: nobody had to
	CalledWho    string   // whom the phone's owner says they called about a grade 4; "": nobody
	CalledAt     *Instant // by the phone's clock
	AnsweredBy   int64    // who answered a grade 4 on the screen; 0: nobody yet
	AnsweredAt   *Instant
	KnownFrom    int64
}

// Words of which clock an entry's time is taken from.
const (
	ClocksAgree  = "agree"   // they are less than five minutes apart
	ClocksAsked  = "asked"   // the program's, until somebody says which is right
	ClockPhone   = "phone"   // a person said that the phone's was right
	ClockProgram = "program" // a person said that the program's was right
)

// Device is a phone or tablet that findings come from.
type Device struct {
	ID        int64 `gorm:"primaryKey;autoIncrement:false"`
	ClientID  string
	PersonID  int64 // who first sent from it
	Name      string
	AddedAt   Instant
	EndedAt   *Instant // from now on nothing is taken from it, and what it keeps unsent is wiped
	EndedBy   int64
	KnownFrom int64
}
