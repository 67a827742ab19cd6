-- 0008 accounts (postgres)
--
-- How a person proves who they are. Nothing here opens a door by being read: passwords stand as argon2id, the
-- tokens of sessions and of one-time addresses as SHA-256. An installation of before has none: its operator gets a
-- sign-up address at the next start.

-- +goose Up

-- At most one in force for a person; handle names the account to a passkey without telling who it is.
CREATE TABLE accounts (
    id BIGINT PRIMARY KEY,
    person_id BIGINT NOT NULL,
    sign_in_name TEXT COLLATE "C" NOT NULL,
    sign_in_key TEXT COLLATE "C" NOT NULL,
    password_hash TEXT COLLATE "C" NOT NULL,
    handle TEXT COLLATE "C" NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    private_salt TEXT COLLATE "C" NOT NULL DEFAULT '',
    private_hash TEXT COLLATE "C" NOT NULL DEFAULT ''
);
CREATE UNIQUE INDEX accounts_person ON accounts (person_id) WHERE known_to IS NULL;
CREATE UNIQUE INDEX accounts_name ON accounts (sign_in_key) WHERE known_to IS NULL;
CREATE UNIQUE INDEX accounts_handle ON accounts (handle);

-- Sessions are no facts and not journalled; state holds the plant looked at and the sentence to be told next.
CREATE TABLE sessions (
    id BIGINT PRIMARY KEY,
    token_hash TEXT COLLATE "C" NOT NULL,
    person_id BIGINT NOT NULL,
    way TEXT COLLATE "C" NOT NULL,
    started_at BIGINT NOT NULL,
    used_at BIGINT NOT NULL,
    ends_at BIGINT NOT NULL,
    ended_at BIGINT,
    address TEXT COLLATE "C" NOT NULL,
    browser TEXT COLLATE "C" NOT NULL,
    state TEXT COLLATE "C"
);
CREATE UNIQUE INDEX sessions_token ON sessions (token_hash);
CREATE INDEX sessions_person ON sessions (person_id, used_at);
CREATE INDEX sessions_ends ON sessions (ends_at);

CREATE TABLE passkeys (
    id BIGINT PRIMARY KEY,
    person_id BIGINT NOT NULL,
    name TEXT COLLATE "C" NOT NULL,
    credential_id TEXT COLLATE "C" NOT NULL,
    credential TEXT COLLATE "C" NOT NULL,
    made_at BIGINT NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT
);
CREATE UNIQUE INDEX passkeys_credential ON passkeys (credential_id) WHERE known_to IS NULL;
CREATE INDEX passkeys_person ON passkeys (person_id) WHERE known_to IS NULL;

-- How often a passkey signed, as it counts itself: changes at each sign-in and is therefore no fact.
CREATE TABLE passkey_uses (
    id BIGINT PRIMARY KEY,
    sign_count BIGINT NOT NULL,
    used_at BIGINT NOT NULL
);

-- Who a person is at a provider of single sign-on: issuer and the hash of its subject.
CREATE TABLE identities (
    id BIGINT PRIMARY KEY,
    person_id BIGINT NOT NULL,
    issuer TEXT COLLATE "C" NOT NULL,
    subject_hash TEXT COLLATE "C" NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT
);
CREATE UNIQUE INDEX identities_subject ON identities (subject_hash) WHERE known_to IS NULL;
CREATE INDEX identities_person ON identities (person_id) WHERE known_to IS NULL;

-- Codes that are good once: sign-up addresses, and the way there and back of single sign-on and of passkeys,
-- which state belongs to.
CREATE TABLE sign_up_codes (
    id BIGINT PRIMARY KEY,
    code_hash TEXT COLLATE "C" NOT NULL,
    purpose TEXT COLLATE "C" NOT NULL,
    person_id BIGINT NOT NULL,
    made_by BIGINT NOT NULL,
    made_at BIGINT NOT NULL,
    ends_at BIGINT NOT NULL,
    used_at BIGINT,
    state TEXT COLLATE "C" NOT NULL
);
CREATE UNIQUE INDEX sign_up_codes_hash ON sign_up_codes (code_hash);
CREATE INDEX sign_up_codes_person ON sign_up_codes (person_id);
CREATE INDEX sign_up_codes_ends ON sign_up_codes (ends_at);
