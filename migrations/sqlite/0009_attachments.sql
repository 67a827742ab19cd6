-- 0009 attachments (sqlite)
--
-- Photos, traces and certificates, kept in the database so that backup, move and verify carry them and any server can
-- show them. Contents are told by looking at them, hashed, and cut into pieces of 1 MB.

-- +goose Up

-- of_kind: conveyor, splice, finding, order; of_id is the number of that thing (of an order its id, not its number).
-- sha256 is of the bytes kept, sent_sha256 of those sent: they differ where a photo's place and device were left out.
CREATE TABLE attachments (
    row_id INTEGER PRIMARY KEY,
    id BIGINT NOT NULL,
    valid_from BIGINT NOT NULL,
    valid_to BIGINT,
    known_from BIGINT NOT NULL,
    known_to BIGINT,
    plant_id BIGINT NOT NULL,
    of_kind TEXT NOT NULL,
    of_id BIGINT NOT NULL,
    name TEXT NOT NULL,
    media_type TEXT NOT NULL,
    size_bytes BIGINT NOT NULL,
    sha256 TEXT NOT NULL,
    sent_sha256 TEXT NOT NULL,
    added_at BIGINT NOT NULL,
    added_by_id BIGINT NOT NULL
);
CREATE UNIQUE INDEX attachments_current ON attachments (id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX attachments_rows ON attachments (id, known_from);
CREATE INDEX attachments_of ON attachments (of_kind, of_id) WHERE known_to IS NULL AND valid_to IS NULL;
CREATE INDEX attachments_plant ON attachments (plant_id);

-- Pieces stay when an attachment is withdrawn: the journal protects them by their hash.
CREATE TABLE attachment_pieces (
    attachment_id BIGINT NOT NULL,
    piece BIGINT NOT NULL,
    content BLOB NOT NULL,
    PRIMARY KEY (attachment_id, piece)
);
