-- 0001 journal (postgres)
--
-- The one way in: chains, their entries, the numbers of things and what the file is.
-- Text sorts by its bytes, as in SQLite, whatever the language of the server.

-- +goose Up

CREATE TABLE meta (
    name TEXT COLLATE "C" PRIMARY KEY,
    value TEXT COLLATE "C" NOT NULL
);

-- customer_id 0 is the company's own chain, which has id 1.
CREATE TABLE chains (
    id BIGINT PRIMARY KEY,
    customer_id BIGINT NOT NULL UNIQUE,
    head_position BIGINT NOT NULL,
    head_at BIGINT NOT NULL
);
INSERT INTO chains (id, customer_id, head_position, head_at) VALUES (1, 0, 0, 0);

-- clock_at is what the clock said where it had been set back behind the entry before; 0 otherwise.
CREATE TABLE journal_entries (
    chain_id BIGINT NOT NULL REFERENCES chains (id),
    position BIGINT NOT NULL,
    at BIGINT NOT NULL,
    clock_at BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    person_id BIGINT NOT NULL,
    origin TEXT COLLATE "C" NOT NULL,
    action TEXT COLLATE "C" NOT NULL,
    reason TEXT COLLATE "C" NOT NULL,
    changes TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (chain_id, position)
);
CREATE INDEX journal_entries_plant ON journal_entries (plant_id, at);
CREATE INDEX journal_entries_time ON journal_entries (chain_id, at);

-- next is the number the next thing of the kind gets.
CREATE TABLE id_counters (
    kind TEXT COLLATE "C" PRIMARY KEY,
    next BIGINT NOT NULL
);
INSERT INTO id_counters (kind, next) VALUES ('chains', 2);
