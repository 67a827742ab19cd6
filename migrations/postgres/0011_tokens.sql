-- 0011 tokens (postgres)
--
-- Tokens of the machine interface: a program shows one in place of a person signing in. Only the hash is kept.

-- +goose Up

-- may: read, read and readings, or metrics. customer_id and plant_id narrow what the person's grants reach; 0: not.
CREATE TABLE api_tokens (
    id BIGINT PRIMARY KEY,
    person_id BIGINT NOT NULL,
    name TEXT COLLATE "C" NOT NULL,
    hash TEXT COLLATE "C" NOT NULL,
    tail TEXT COLLATE "C" NOT NULL,
    may TEXT COLLATE "C" NOT NULL,
    customer_id BIGINT NOT NULL,
    plant_id BIGINT NOT NULL,
    made_at BIGINT NOT NULL,
    expires_at BIGINT NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT
);
CREATE UNIQUE INDEX api_tokens_hash ON api_tokens (hash);
CREATE INDEX api_tokens_person ON api_tokens (person_id) WHERE known_to IS NULL;

-- When each token was shown last, to the minute. No fact: the journal does not cover it.
CREATE TABLE api_token_uses (
    token_id BIGINT PRIMARY KEY,
    used_at BIGINT NOT NULL
);

-- What a token asked to be written under a key, and the answer it got: the same key writes once. Kept for a week.
CREATE TABLE idempotency_keys (
    token_id BIGINT NOT NULL,
    request_key TEXT COLLATE "C" NOT NULL,
    request_hash TEXT COLLATE "C" NOT NULL,
    status BIGINT NOT NULL,
    answer TEXT COLLATE "C" NOT NULL,
    made_at BIGINT NOT NULL,
    PRIMARY KEY (token_id, request_key)
);
CREATE INDEX idempotency_keys_made ON idempotency_keys (made_at);
