-- 0007 hash_chain (postgres)
--
-- The journal proves: each entry holds the hash of the entry before it and the root over the rows it wrote.
-- DEVELOPERS.md, "The journal", says how each hash is computed.

-- +goose Up

ALTER TABLE chains ADD COLUMN head_hash TEXT COLLATE "C" NOT NULL DEFAULT '';

-- leaf_count rows stand under rows_root; hash is over prev_hash and everything else of the entry.
ALTER TABLE journal_entries ADD COLUMN prev_hash TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE journal_entries ADD COLUMN hash TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE journal_entries ADD COLUMN rows_root TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE journal_entries ADD COLUMN leaf_count BIGINT NOT NULL DEFAULT 0;

-- The rows of an entry in the order of its tree: kind is 'written' or 'ended'; leaves holds for each row its
-- key (integers of eight bytes, big-endian) and its leaf (32 bytes).
CREATE TABLE journal_rows (
    chain_id BIGINT NOT NULL,
    position BIGINT NOT NULL,
    part BIGINT NOT NULL,
    table_name TEXT COLLATE "C" NOT NULL,
    kind TEXT COLLATE "C" NOT NULL,
    leaves BYTEA NOT NULL,
    PRIMARY KEY (chain_id, position, part)
);

-- Personal data stand in the chain as a salted hash only, so that they can be erased.
ALTER TABLE people ADD COLUMN private_salt TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE people ADD COLUMN private_hash TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE contacts ADD COLUMN private_salt TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE contacts ADD COLUMN private_hash TEXT COLLATE "C" NOT NULL DEFAULT '';

-- Entries that are there already get their hashes by the program, once.
INSERT INTO meta (name, value) VALUES ('journal_unsealed', 'yes');
