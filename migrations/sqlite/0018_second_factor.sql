-- 0018 second_factor (sqlite)
--
-- A second proof beside the password: a code that changes every half minute, worked out by an app from a seed, and
-- recovery codes for when the app is lost. The seed has to be read to check a code, so it stands as it is; recovery
-- codes stand as SHA-256 of 120 random bits. And grants that begin or end at an instant: an installation of before has
-- none, its grants hold until they are taken back.

-- +goose Up

-- At most one in force for a person.
CREATE TABLE second_factors (
    id BIGINT PRIMARY KEY,
    person_id BIGINT NOT NULL,
    seed TEXT NOT NULL,
    made_at BIGINT NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT
);
CREATE UNIQUE INDEX second_factors_person ON second_factors (person_id) WHERE known_to IS NULL;

-- The half minute whose code was taken last, so that none is taken twice: changes at each sign-in and is no fact.
CREATE TABLE second_factor_uses (
    id BIGINT PRIMARY KEY,
    last_step BIGINT NOT NULL,
    used_at BIGINT NOT NULL
);

-- Ended when used.
CREATE TABLE recovery_codes (
    id BIGINT PRIMARY KEY,
    person_id BIGINT NOT NULL,
    code_hash TEXT NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT
);
CREATE INDEX recovery_codes_person ON recovery_codes (person_id) WHERE known_to IS NULL;

-- NULL: from when it was given; until it is taken back.
ALTER TABLE grants ADD COLUMN from_at BIGINT;
ALTER TABLE grants ADD COLUMN until_at BIGINT;
