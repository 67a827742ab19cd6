package assets

// Account is how a person signs in: at most one in force for each. Secrets stand in it as hashes only.
type Account struct {
	ID           int64 `gorm:"primaryKey"`
	PersonID     int64
	SignInName   string // as typed
	SignInKey    string // its NameKey
	PasswordHash string `json:"-"` // argon2id with salt and cost; "": signs in by passkey or single sign-on
	Handle       string `json:"-"` // random: names the account to a passkey without telling who it is
	KnownFrom    int64
	KnownTo      *int64

	PrivateSalt string `json:"-"` // kept by the storage: the journal sees the sign-in name through it
	PrivateHash string `json:"-"`
}

// SignInWay is how a session was begun.
type SignInWay string

// Ways to sign in.
const (
	ByPassword     SignInWay = "password"
	ByPasskey      SignInWay = "passkey"
	BySingleSignOn SignInWay = "single sign-on"
	ByOneClick     SignInWay = "one click" // of the demonstration

	ByPasswordAndCode     SignInWay = "password and code"
	ByPasswordAndRecovery SignInWay = "password and recovery code"
)

// Session is somebody signed in at one browser. It is no fact of the register and not journalled.
type Session struct {
	ID        int64 `gorm:"primaryKey;autoIncrement:false"` // random: tells nothing of how many there are
	TokenHash string
	PersonID  int64
	Way       SignInWay
	StartedAt Instant
	UsedAt    Instant // to the minute or so
	EndsAt    Instant // whatever is done with it
	EndedAt   *Instant
	Address   string       // it was last used from
	Browser   string       // as it names itself
	State     SessionState `gorm:"serializer:json"`
}

// SessionState is what the screens remember of a session.
type SessionState struct {
	PlantID int64  `json:"plant,omitempty"`  // looked at last
	Notice  string `json:"notice,omitempty"` // told once, on the page it is for
	Told    string `json:"told,omitempty"`   // path of that page
}

// Passkey is a key that a person's device holds.
type Passkey struct {
	ID           int64 `gorm:"primaryKey"`
	PersonID     int64
	Name         string // as its owner calls it
	CredentialID string // in base64url
	Credential   string `json:"-"` // public key and what belongs to it, JSON
	MadeAt       Instant
	KnownFrom    int64
	KnownTo      *int64
}

// PasskeyUse is how often a passkey says it has signed, and when it last did. A count that falls tells of a copy.
type PasskeyUse struct {
	ID        int64 `gorm:"primaryKey;autoIncrement:false"` // of the passkey
	SignCount int64
	UsedAt    Instant
}

// SecondFactor is the seed from which an app on a person's telephone works out a code every half minute (RFC 6238).
type SecondFactor struct {
	ID        int64 `gorm:"primaryKey"`
	PersonID  int64
	Seed      string `json:"-"` // 160 random bits in base32
	MadeAt    Instant
	KnownFrom int64
	KnownTo   *int64
}

// SecondFactorUse is the newest half minute, counted from 1970, whose code a second factor was taken by.
type SecondFactorUse struct {
	ID       int64 `gorm:"primaryKey;autoIncrement:false"` // of the second factor
	LastStep int64
	UsedAt   Instant
}

// RecoveryCode lets a person in once in place of a code, when the app is lost.
type RecoveryCode struct {
	ID        int64 `gorm:"primaryKey"`
	PersonID  int64
	CodeHash  string `json:"-"` // SHA-256
	KnownFrom int64
	KnownTo   *int64
}

// Identity is who a person is at a provider of single sign-on: the issuer with the subject it names. A mail address
// is none: providers give it to somebody else.
type Identity struct {
	ID          int64 `gorm:"primaryKey"`
	PersonID    int64
	Issuer      string
	SubjectHash string // SHA-256 of issuer, line feed, subject
	KnownFrom   int64
	KnownTo     *int64
}

// CodePurpose is what a one-time code is for.
type CodePurpose string

// Purposes of codes.
const (
	CodeFirst       CodePurpose = "first administrator"
	CodeInvitation  CodePurpose = "invitation"
	CodeNewPassword CodePurpose = "new password"
	CodeSingleSign  CodePurpose = "single sign-on"
	CodePasskey     CodePurpose = "passkey"
	CodeSecond      CodePurpose = "second factor asked for"
	CodeNewSecond   CodePurpose = "second factor being set up"
)

// SignUpCode is a code that is good once and for a while. Only its hash is kept.
type SignUpCode struct {
	ID       int64 `gorm:"primaryKey;autoIncrement:false"` // random
	CodeHash string
	Purpose  CodePurpose
	PersonID int64 // 0: nobody yet
	MadeBy   int64
	MadeAt   Instant
	EndsAt   Instant
	UsedAt   *Instant
	State    string // of a way there and back, JSON; "" else
}

// Member is a person with their ways in and what they may.
type Member struct {
	Person     Person
	Account    *Account // nil: none
	Grants     []GrantGiven
	LastIn     Instant // 0: never, or too long ago to tell
	Sessions   int     // open now
	CodeEndsAt Instant // until when an address that was handed out is good; 0: none waits
	Elsewhere  bool    // holds more than is shown: the account is not told of either
}

// GrantGiven is a grant with who gave it.
type GrantGiven struct {
	Grant
	ByID int64 // 0: the program itself
	By   string
	At   Instant
}
